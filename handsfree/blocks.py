"""The pieces that every YAML file of the project is made of: strict blocks, names, phrases, numbers, days."""

from __future__ import annotations

import ast
import inspect
import textwrap
from datetime import date
from decimal import Decimal
from functools import cache
from itertools import pairwise
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, GetJsonSchemaHandler
from pydantic.fields import FieldInfo
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

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

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core_schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Describe each key by the text under it: read here, since it takes a fifth of the start of a program."""
        made = handler(core_schema)
        keys = handler.resolve_ref_schema(made).get("properties", {})
        for name, says in texts_of(cls).items():
            if (key := cls.model_fields[name].alias or name) in keys:
                keys[key].setdefault("description", says)
        return made


def described_fields(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Return the fields of a model, each with its description: its own, else the text under it."""
    for name, says in texts_of(model).items():
        field = model.model_fields[name]
        field.description = field.description or says
    return model.model_fields


@cache
def texts_of(model: type[BaseModel]) -> dict[str, str]:
    """Return the text that stands under each field of a model, its own or inherited, in its source."""
    found: dict[str, str] = {}
    for one in reversed(model.__mro__):
        if one.__module__.startswith("handsfree."):
            found |= _texts_in(one)
    return {name: says for name, says in found.items() if name in model.model_fields}


def _texts_in(of: type) -> dict[str, str]:
    try:
        source = inspect.getsource(of)
    except (OSError, TypeError):
        return {}  # it is made while the program runs, from a file of data
    body = getattr(ast.parse(textwrap.dedent(source)).body[0], "body", [])
    return {
        field.target.id: inspect.cleandoc(text.value.value)
        for field, text in pairwise(body)
        if isinstance(field, ast.AnnAssign)
        and isinstance(field.target, ast.Name)
        and isinstance(text, ast.Expr)
        and isinstance(text.value, ast.Constant)
        and isinstance(text.value.value, str)
    }


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
