"""The questions of a sheet, from its model: each fact explained, and checked when it is given."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Annotated, Any, Literal, get_args, get_origin

import typer
from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from handsfree.blocks import described_fields
from handsfree.commands.interview import Interview
from handsfree.commands.written_answers import value_written
from handsfree.plain import plainly
from handsfree.procedure.template import bare, wanted

_SUFFIXES = {"metre": "m", "kilowatt": "kW"}
"""The end of a fact's name -> the unit that it is given in."""


@dataclass
class SheetQuestions:
    """Asks for the facts of one model; `needed` ones are asked though they need not be given."""

    interview: Interview
    units: Mapping[str, str] = field(default_factory=dict)
    """Quantity -> the unit in which a sheet gives it."""
    needed: frozenset[str] = frozenset()
    without: Callable[[str], str] = lambda name: ""  # noqa: ARG005
    """What a visit lacks when a fact is left out, as a sentence; empty when nothing."""
    spell: Callable[[str], str] | None = None

    def block(self, model: type[BaseModel], path: str, given: frozenset[str] = frozenset()) -> dict[str, Any]:
        """Return the facts of a block, asked anew when they do not go together."""
        while True:
            facts: dict[str, Any] = {}
            for name, one in described_fields(model).items():
                if name not in given:
                    facts |= self.fact(name, one, path)
            if given or not path:
                return facts  # a whole sheet is checked with what was given
            try:
                TypeAdapter(model).validate_python(facts, strict=True)
            except ValidationError as error:
                typer.echo(f"These cannot stand together: {plainly(error.errors()[0])}")
                self.interview.forget(path)
            else:
                return facts

    def fact(self, name: str, one: FieldInfo, path: str) -> dict[str, Any]:
        """Return one fact by its name; nothing when it need not be given and is not."""
        kind, at = bare(one.annotation), f"{path}/{name}".removeprefix("/")
        lacking = self.without(name)
        if lacking and at not in self._told:
            self._told.add(at)
            typer.echo(lacking)
        if get_origin(kind) is dict:
            entries = self._entries(kind, at, one)
            return {name: entries} if entries or one.is_required() else {}
        if get_origin(kind) is tuple:
            return {name: self._each(bare(get_args(kind)[0]), at)}
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            if not self._wanted(name, one, at):
                return {}
            return {name: self.block(kind, at)}
        return self._value(name, one, kind, at)

    _told: set[str] = field(default_factory=set)

    def _wanted(self, name: str, one: FieldInfo, at: str) -> bool:
        if one.is_required() or name in self.needed:
            return True
        return self.interview.yes(f"{at}?", f"Write the {_said(at)} too?{_says(one)}")

    def _each(self, kind: type[BaseModel], at: str) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = []
        while self.interview.yes(f"{at}/{len(found) + 1}?", f"One more of the {_said(at)}?"):
            found.append(self.block(kind, f"{at}/{len(found) + 1}"))
        return found

    def _entries(self, kind: Any, at: str, one: FieldInfo) -> dict[str, Any]:
        """Return a table: by each of its written keys, or by names that the person gives until none is left."""
        key, below = (bare(part) for part in get_args(kind))
        found: dict[str, Any] = {}
        if get_origin(key) is Literal:
            for name in get_args(key):
                if self.interview.yes(f"{at}/{name}?", f"Write the {_said(f'{at}/{name}')} too?{_says(one)}"):
                    found[name] = self._entry(below, f"{at}/{name}")
            return found
        if not one.is_required() and not self.interview.yes(f"{at}?", f"Write the {_said(at)} too?{_says(one)}"):
            return {}
        while True:
            number = len(found) + 1
            asked = f"{_said(at)}, name {number} (empty when there is none more){_says(one)}"
            least = one.is_required() and not found
            name = self.interview.ask(f"{at}/name {number}", asked, partial(_named, least=least), default="")
            if not name:
                return found
            found[name] = self._entry(below, f"{at}/{name}")

    def _entry(self, kind: Any, at: str) -> Any:
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return self.block(kind, at)
        return self._value("value", FieldInfo(annotation=kind), kind, at)["value"]

    def _value(self, name: str, one: FieldInfo, kind: Any, at: str) -> dict[str, Any]:
        """Return one plain fact, asked until it can stand."""
        declared: Any = Annotated[one.annotation, *one.metadata] if one.metadata else one.annotation
        right: TypeAdapter[Any] = TypeAdapter(declared, config=ConfigDict(strict=True))
        required = one.is_required() or name in self.needed
        unit = self._unit(at) if kind is Decimal else ""

        def read(text: str) -> object:
            if not text and not required:
                return None
            value = value_written(text, kind, unit)
            try:
                right.validate_python(value)
            except ValidationError as error:
                raise ValueError(plainly(error.errors()[0])) from None
            return value

        default = None if required else "" if one.default in {None, ""} else str(one.default)
        form = wanted(kind) + (f" in {unit}" if unit else "")
        by_voice = self.spell if name == "serial" or kind is date else None
        asked = f"{_said(at)} ({form}){_says(one)}"
        value = self.interview.ask(at, asked, read, default=default, spell=by_voice)
        return {} if value is None else {name: value}

    def _unit(self, at: str) -> str:
        """Return the unit of a number by the names above it: a quantity's, or that of the fact's own name."""
        for name in reversed(at.split("/")):
            known = self.units.get(name) or self.units.get(name.removesuffix("_high"))
            known = known or _SUFFIXES.get(name.rpartition("_")[2])
            if known is not None:
                return known
        return ""


def _named(text: str, *, least: bool) -> str:
    if least and not text:
        raise ValueError("at least one is needed: write its name")
    return text


def _said(at: str) -> str:
    """Return a path as it is said: `instrument/serial` is "instrument, serial"."""
    return at.replace("/", ", ").replace("_", " ")


def _says(one: FieldInfo) -> str:
    return f" - {' '.join(one.description.split()).removesuffix('.')}" if one.description else ""


__all__ = ["SheetQuestions"]
