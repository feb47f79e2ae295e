"""What every YAML file of ours is made of: strict blocks, numbers exactly as written, names, days."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

Exact = Annotated[Decimal, BeforeValidator(lambda value: Decimal(value) if type(value) is int else value)]
"""A number exactly as written: 9.30 and 9.3 differ, and binary floating point never comes in."""

Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=60)]
"""A kebab-case name."""

FieldName = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(_[a-z0-9]+)*$", max_length=60)]
"""The name of a quantity or of a fact of a sheet: lower-case words joined by underscores."""


class Block(BaseModel):
    """The strictness all blocks share."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, use_attribute_docstrings=True)


def as_tuple(value: Any) -> Any:
    """Return a list as a tuple, so that a frozen block holds nothing that changes."""
    return tuple(value) if isinstance(value, list) else value


def _day(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    try:
        return date.fromisoformat(value)
    except ValueError:
        raise ValueError("write the day as year-month-day, such as 2027-06-30") from None


Day = Annotated[date, BeforeValidator(_day)]
"""A calendar day, written as ISO 8601 has it."""

Texts = Annotated[tuple[str, ...], BeforeValidator(as_tuple)]
FieldNames = Annotated[tuple[FieldName, ...], BeforeValidator(as_tuple)]
