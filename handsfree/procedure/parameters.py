"""Parameters of a file: `$name`, alone or inside a text, is replaced by the value of that name.

A value that stands alone keeps its kind: a number stays a number. Inside a text it is written out as it stands in
the file. A `$` that names no parameter is a fault; nobody would want it spoken.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from handsfree.documents import Document, Path_, Place
from handsfree.problem import Problem

_ALONE = re.compile(r"\$([a-z][a-z0-9]*(?:-[a-z0-9]+)*)\Z")
_INSIDE = re.compile(r"\$(?:([a-z][a-z0-9]*(?:-[a-z0-9]+)*)|\{([a-z][a-z0-9]*(?:-[a-z0-9]+)*)\})?")


@dataclass(frozen=True)
class Parameter:
    """A value for a parameter, and where it is written."""

    value: Any
    place: Place
    translated: bool = False
    """Whether its value is written in the language asked for, and not only in the file's own."""


def given_in(
    gate: Mapping[str, Any], document: Document, path: Path_, *, inside: Path_ = ("parameters",)
) -> dict[str, Parameter]:
    """Return the parameters that an include gives; `path` leads to it in its document, `inside` to them in it."""
    at = {name: (*path, *inside, name) for name in gate}
    return {
        name: Parameter(value, document.place(at[name]), at[name] in document.translated)
        for name, value in gate.items()
    }


def parameters_of(
    document: Document, given: Mapping[str, Parameter], optional: Mapping[str, Parameter]
) -> dict[str, Parameter]:
    """Return every parameter of a document with the value that it has here.

    What is `optional` is given only where the file declares it and nobody gave it. Raises Problem at a parameter
    that the file does not declare.
    """
    declared = _declared(document)
    for name, one in given.items():
        if name not in declared:
            what, known = f"{document.file} has no parameter {name!r}", ", ".join(declared) or "none"
            raise Problem(what, where=str(one.place), remedy=f"remove it; it has: {known}")
    offered = {name: one for name, one in optional.items() if name in declared}
    return {**declared, **offered, **given}


def filled(document: Document, parameters: Mapping[str, Parameter]) -> tuple[Document, Any]:
    """Return the document, which now knows where its filled values come from, and its content filled.

    Raises Problem at a `$` that names no parameter.
    """
    filling = _Filling(document, parameters, {})
    content = filling.value(document.content, ())
    return replace(document, given=filling.places), content


def named_in(text: str) -> tuple[str, ...]:
    """Return the names of the parameters in a text."""
    return tuple(found[1] or found[2] for found in _INSIDE.finditer(text) if found[1] or found[2])


def without_parameters(text: str) -> str:
    """Return a text without its parameters."""
    return _INSIDE.sub("", text)


def _declared(document: Document) -> dict[str, Parameter]:
    """Return the parameters of a file with their defaults."""
    written = document.content.get("parameters", {}) if isinstance(document.content, dict) else {}
    if not isinstance(written, dict):
        return {}
    found = given_in(written, document, ())
    for one in found.values():
        if isinstance(one.value, str) and "$" in one.value:
            what = "a default is written out, and holds no other parameter"
            raise Problem(what, where=str(one.place), remedy="write the value itself")
    return found


@dataclass
class _Filling:
    """One document while it is filled; `places` collects where the filled values were given."""

    document: Document
    parameters: Mapping[str, Parameter]
    places: dict[Path_, Place]

    def value(self, value: Any, path: Path_) -> Any:
        if isinstance(value, dict):
            for key in value:
                if "$" in key:
                    what = f"the key {key!r} holds a $, and parameters stand in values"
                    raise Problem(what, where=str(self.document.key_place((*path, key))), remedy="write it out")
            return {key: self.value(item, (*path, key)) for key, item in value.items()}
        if isinstance(value, list):
            return [self.value(item, (*path, number)) for number, item in enumerate(value)]
        if not isinstance(value, str) or "$" not in value:
            return value
        alone = _ALONE.match(value)
        if alone:
            return self._named(alone[1], path).value
        return _INSIDE.sub(lambda found: self._text(found[1] or found[2] or "", path), value)

    def _named(self, name: str, path: Path_) -> Parameter:
        if name not in self.parameters:
            what = f"there is no parameter {name!r}" if name else "a $ stands here without a parameter's name"
            known = ", ".join(f"${one}" for one in self.parameters)
            remedy = f"write one of: {known}" if known else "declare it under parameters, or write no $"
            raise Problem(what, where=str(self.document.place(path)), remedy=remedy)
        one = self.parameters[name]
        self.places[path] = one.place
        return one

    def _text(self, name: str, path: Path_) -> str:
        one = self._named(name, path)
        value = one.value
        if isinstance(value, bool) or not isinstance(value, str | int | Decimal):
            place = replace(one.place, used_at=str(self.document.place(path)))
            what = f"the parameter {name!r} is no text and no number, and cannot stand inside a text"
            raise Problem(place.told(what), where=str(place), remedy="write a text or a number")
        return f"{value:f}" if isinstance(value, Decimal) else str(value)
