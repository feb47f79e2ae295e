"""Every event as it stands in the record: the union of inputs and decisions, to and from JSON values.

SCHEMA_VERSION names this set of shapes; the golden files of the tests hold one example of each. Shapes of older
versions are read by `handsfree/events/upcasting.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import Field, TypeAdapter

from handsfree.events.decisions import Decision
from handsfree.events.inputs import Input

SCHEMA_VERSION = 19

Event = Annotated[Input | Decision, Field(discriminator="kind")]
_EVENT: TypeAdapter[Event] = TypeAdapter(Event)


def to_record(event: Event) -> tuple[str, dict[str, Any]]:
    """Return the event's kind and its content as JSON values (no floats), as the ledger keeps them."""
    return event.kind, event.model_dump(mode="json", exclude={"kind"})


def from_record(kind: str, content: Mapping[str, Any]) -> Event:
    """Return the event a ledger entry holds; pydantic's ValidationError when it is none of ours."""
    return _EVENT.validate_python({**content, "kind": kind})


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of every event kind, generated from these classes."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"Handsfree events, version {SCHEMA_VERSION}",
        **_EVENT.json_schema(mode="serialization"),
    }
