"""The pieces that every YAML file of the project is made of: strict blocks, names, phrases, numbers, days."""

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

Target = Annotated[str, Field(pattern=r"^(exit )?[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=80)]
"""Where a transition leads: the id of a gate of the same file, or `exit NAME` for one of the file's exits."""

_LETTERS = "a-zß-öø-žά-ώа-џ"
"""Small letters of the Latin, Greek and Cyrillic alphabets, as ranges that every reader of the schema knows."""

PHRASE_PATTERN = rf"^[{_LETTERS}']+( [{_LETTERS}']+)*$"
"""Small letters and apostrophes, in words with single spaces between them."""

Phrase = Annotated[str, Field(pattern=PHRASE_PATTERN, max_length=60)]
"""Words as the person says them: lower case, abbreviations spelled letter by letter ("c o two")."""

Prompt = Annotated[str, Field(min_length=2, max_length=120)]
"""What the tool says; at most ten words where a hand is busy. {job...} and {appliance...} are filled in."""


class Block(BaseModel):
    """The strictness all blocks share."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, use_attribute_docstrings=True, defer_build=True
    )


def as_tuple(value: Any) -> Any:
    """Return a YAML list as a tuple, so that strict validation takes it."""
    return tuple(value) if isinstance(value, list) else value


Names = Annotated[tuple[Name, ...], BeforeValidator(as_tuple)]
FieldNames = Annotated[tuple[FieldName, ...], BeforeValidator(as_tuple)]
Phrases = Annotated[tuple[Phrase, ...], BeforeValidator(as_tuple)]
Texts = Annotated[tuple[str, ...], BeforeValidator(as_tuple)]


def _day(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    try:
        return date.fromisoformat(value)
    except ValueError:
        raise ValueError("write the day as year-month-day, such as 2027-06-30") from None


Day = Annotated[date, BeforeValidator(_day)]
"""A calendar day, written as ISO 8601 has it."""
