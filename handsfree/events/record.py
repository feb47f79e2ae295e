"""Every event as it stands in the record: the union of inputs and decisions, to and from JSON values.

SCHEMA_VERSION names this set of shapes; the golden files of the tests hold one example of each. Shapes of older
versions are read by `handsfree/events/upcasting.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Annotated, Any, get_args

from pydantic import Field, TypeAdapter, ValidationError

from handsfree.events.decisions import Decision
from handsfree.events.inputs import Input

SCHEMA_VERSION = 23

Event = Annotated[Input | Decision, Field(discriminator="kind")]


@cache
def _any_event() -> TypeAdapter[Event]:
    """Return what reads and describes every kind; making it takes as long as reading hundreds of events."""
    return TypeAdapter(Event)


_KINDS: dict[str, type[Event]] = {
    kind.model_fields["kind"].default: kind for side in (Input, Decision) for kind in get_args(get_args(side)[0])
}


def to_record(event: Event) -> tuple[str, dict[str, Any]]:
    """Return the event's kind and its content as JSON values (no floats), as the ledger keeps them."""
    return event.kind, event.model_dump(mode="json", exclude={"kind"})


def from_record(kind: str, content: Mapping[str, Any]) -> Event:
    """Return the event a ledger entry holds; pydantic's ValidationError when it is none of ours."""
    members = {**content, "kind": kind}
    if kind in _KINDS:
        try:
            return _KINDS[kind].model_validate(members)
        except ValidationError:
            pass  # told below, with the kind where it is wrong
    return _any_event().validate_python(members)


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of every event kind, generated from these classes."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"Handsfree events, version {SCHEMA_VERSION}",
        **_any_event().json_schema(mode="serialization"),
    }
