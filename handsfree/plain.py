"""What is wrong with a value of a file, told as what to write there."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from pydantic_core import ErrorDetails

from handsfree.blocks import PHRASE_PATTERN

_Told = Callable[[Mapping[str, Any]], str]


def _number(limit: object) -> str:
    """Return a limit as it is written: before some validators the library hands on `Decimal('200')` as text."""
    return str(limit).removeprefix("Decimal('").removesuffix("')")


def _as_written(tag: object) -> str:
    """Return a value as the file has it: the library hands on an empty one as Python writes it."""
    return {"None": "null", "True": "true", "False": "false"}.get(str(tag), str(tag))


_PLAIN: Final[dict[str, _Told]] = {
    "missing": lambda _: "this is lacking: write it",
    "extra_forbidden": lambda _: "there is no such key here: remove it or correct its name",
    "is_instance_of": lambda _: "write a number, such as 8.5",
    "decimal_type": lambda _: "write a number, such as 8.5",
    "decimal_parsing": lambda _: "write a number, such as 8.5",
    "decimal_max_digits": lambda of: f"write at most {of['max_digits']} digits",
    "finite_number": lambda _: "write a number, such as 8.5",
    "int_type": lambda _: "write a whole number",
    "int_parsing": lambda _: "write a whole number",
    "int_parsing_size": lambda _: "write a smaller number",
    "int_from_float": lambda _: "write a whole number",
    "bool_type": lambda _: "write true or false",
    "string_type": lambda _: "write text; put it in quotes when it is a number",
    "string_too_short": lambda of: f"write at least {of['min_length']} characters",
    "string_too_long": lambda of: f"write at most {of['max_length']} characters",
    "string_pattern_mismatch": lambda of: _FORMS.get(str(of["pattern"]), "this is not written as it must be"),
    "date_type": lambda _: "write the day as year-month-day, such as 2027-06-30",
    "literal_error": lambda of: f"write one of: {str(of['expected']).replace(' or ', ', ')}",
    "greater_than_equal": lambda of: f"write {_number(of['ge'])} or more",
    "less_than_equal": lambda of: f"write {_number(of['le'])} or less",
    "greater_than": lambda of: f"write more than {_number(of['gt'])}",
    "less_than": lambda of: f"write less than {_number(of['lt'])}",
    "too_short": lambda of: f"write at least {of['min_length']} of them",
    "too_long": lambda of: f"write at most {of['max_length']} of them",
    "dict_type": lambda _: "write keys with values below it",
    "model_type": lambda _: "write keys with values below it",
    "model_attributes_type": lambda _: "write keys with values below it",
    "tuple_type": lambda _: "write a list, such as [one, two]",
    "list_type": lambda _: "write a list, such as [one, two]",
    "union_tag_not_found": lambda of: f"say which it is by its key {of['discriminator']}",
    "union_tag_invalid": lambda of: f"there is no '{_as_written(of['tag'])}'; write one of: {of['expected_tags']}",
    "value_error": lambda of: str(of["error"]),
}
"""The kind of a fault, by the name that pydantic gives it -> what to write instead."""

_KEBAB = "lower-case letters and digits, joined by single hyphens"
_FORMS: Final[dict[str, str]] = {
    r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$": f"write {_KEBAB}",
    r"^(exit )?[a-z][a-z0-9]*(-[a-z0-9]+)*$": f"write the id of a gate, or `exit` and a name: {_KEBAB}",
    r"^[a-z][a-z0-9]*(_[a-z0-9]+)*$": "write lower-case letters and digits, joined by single underscores",
    r"^[A-Za-z0-9._-]+\.yaml$": "write the name of a file beside this one, ending in .yaml",
    r"^[a-z][a-z0-9]*([-/][a-z0-9]+|/\*)*$": "write the full id of a gate, such as kitchen/air-flow or */air-flow",
    r"^(next item|(exit )?[a-z][a-z0-9]*(-[a-z0-9]+)*)$": (
        f"write `next item`, the id of a gate, or `exit` and a name: {_KEBAB}"
    ),
    PHRASE_PATTERN: "write words as they are said: small letters, single spaces, abbreviations letter by letter",
    r"^[a-z0-9-]+\.yaml$": "write the name of a file beside this one, ending in .yaml",
}
"""A pattern -> what it asks for, in words."""


def plainly(fault: ErrorDetails) -> str:
    """Return one fault of a validation as what to write; never in the words of the library that found it."""
    told = _PLAIN.get(fault["type"])
    return "this cannot stand here" if told is None else told(fault.get("ctx") or {})
