"""When a gate is asked at all: by facts of the sheets and by earlier answers, whose values are all declared.

A gate that is not asked is left by the outcome "not asked" as soon as it is come to: the record shows that it was
come to, and the sheets and the answers show why it was passed over.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from handsfree.blocks import as_tuple

NOT_GIVEN = "not given"
"""The value of a fact that a sheet may leave out, and does."""
NOT_COME_TO = "not come to"
"""The value of an earlier gate that was not come to."""


def _one_or_more(value: Any) -> Any:
    """Return one value as a list of one."""
    return (value,) if isinstance(value, str) else as_tuple(value)


Decider = Annotated[
    str,
    Field(pattern=r"^((job|appliance)\.[a-z][a-z0-9]*(_[a-z0-9]+)*|[a-z][a-z0-9]*(-[a-z0-9]+)*)$", max_length=80),
]
"""What decides: `job.NAME` or `appliance.NAME` for a fact of a sheet, or the id of an earlier gate of the file."""

DecidingValues = Annotated[
    tuple[str, ...],
    BeforeValidator(_one_or_more, json_schema_input_type=str | list[str]),
    Field(min_length=1),
]
"""One value, or a list of those of which any one will do."""

When = dict[Decider, DecidingValues]
"""Conditions that must all hold."""


def is_fact(decider: str) -> bool:
    """Say whether a decider is a fact of a sheet, and no gate."""
    return "." in decider


def holds(when: Mapping[str, tuple[str, ...]], known: Callable[[str], str]) -> bool:
    """Say whether all conditions hold, by what is known of each decider."""
    return all(known(decider) in values for decider, values in when.items())
