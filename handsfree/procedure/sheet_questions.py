"""The questions of a sheet, from its model: each fact explained, and checked when it is given.

Who answers is another's matter: the interview asks one question after the other, a form shows all of them at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Annotated, Any, Literal, Protocol, TypeVar, get_args, get_origin

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from handsfree.blocks import described_fields
from handsfree.plain import plainly
from handsfree.procedure.template import bare, wanted
from handsfree.procedure.written_answers import value_written, yes_or_no

_SUFFIXES = {"metre": "m", "kilowatt": "kW"}
"""The end of a fact's name -> the unit that it is given in."""
_YES_OR_NO = ("yes", "no")
T = TypeVar("T")


@dataclass(frozen=True)
class SheetQuestion:
    """One question of a sheet."""

    path: str
    """What names it: the facts that lead to it, joined by "/"."""
    asked: str
    """What is asked for, and in which form it is written."""
    explained: str = ""
    """What the fact is, in a sentence without its end."""
    default: str | None = None
    """What stands when nothing is written; None where an answer is needed."""
    choices: tuple[str, ...] = ()
    """What may be answered, where that is a choice."""
    may_be_spelled: bool = False
    """Whether letters and digits are all of its answer, as of a serial or a day."""

    @property
    def prompt(self) -> str:
        """The question in one line."""
        return f"{self.asked} - {self.explained}" if self.explained else self.asked


class Asking(Protocol):
    """Whoever takes the answers."""

    def ask(self, question: SheetQuestion, read: Callable[[str], T]) -> T | None:
        """Return the answer as `read` has it (its ValueError says what to write); None while there is none."""
        ...

    def tell(self, path: str, sentence: str) -> None:
        """Say something about a question before it is asked."""
        ...

    def asks_again(self, path: str, why: str) -> bool:
        """Say whether the questions below a path are asked again, whose answers cannot stand together."""
        ...


@dataclass
class SheetQuestions:
    """Asks for the facts of one model; `needed` ones are asked though they need not be given."""

    asking: Asking
    units: Mapping[str, str] = field(default_factory=dict)
    """Quantity -> the unit in which a sheet gives it."""
    needed: frozenset[str] = frozenset()
    without: Callable[[str], str] = lambda name: ""  # noqa: ARG005
    """What a visit lacks when a fact is left out, as a sentence; empty when nothing."""

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
                if not self.asking.asks_again(path, plainly(error.errors()[0])):
                    return facts
            else:
                return facts

    def fact(self, name: str, one: FieldInfo, path: str) -> dict[str, Any]:
        """Return one fact by its name; nothing when it need not be given and is not."""
        kind, at = bare(one.annotation), f"{path}/{name}".removeprefix("/")
        if lacking := self.without(name):
            self.asking.tell(at, lacking)
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

    def _wanted(self, name: str, one: FieldInfo, at: str) -> bool:
        return one.is_required() or name in self.needed or self._yes(at, f"Write the {_said(at)} too?", one)

    def _yes(self, at: str, asked: str, one: FieldInfo | None = None) -> bool:
        explained = "" if one is None else _says(one)
        question = SheetQuestion(f"{at}?", f"{asked} (yes or no)", explained, "no", _YES_OR_NO)
        return bool(self.asking.ask(question, yes_or_no))

    def _each(self, kind: type[BaseModel], at: str) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = []
        while self._yes(f"{at}/{len(found) + 1}", f"One more of the {_said(at)}?"):
            found.append(self.block(kind, f"{at}/{len(found) + 1}"))
        return found

    def _entries(self, kind: Any, at: str, one: FieldInfo) -> dict[str, Any]:
        """Return a table: by each of its written keys, or by names that the person gives until none is left."""
        key, below = get_args(kind)[0], bare(get_args(kind)[1])
        found: dict[str, Any] = {}
        if get_origin(bare(key)) is Literal:
            for name in get_args(bare(key)):
                if self._yes(f"{at}/{name}", f"Write the {_said(f'{at}/{name}')} too?", one):
                    self._entry(found, name, below, at)
            return found
        if not one.is_required() and not self._yes(at, f"Write the {_said(at)} too?", one):
            return {}
        while True:
            number = len(found) + 1
            asked = f"{_said(at)}, name {number} (empty when there is none more)"
            read = partial(_named, key=TypeAdapter(key), taken=frozenset(found), least=one.is_required())
            question = SheetQuestion(f"{at}/name {number}", asked, _says(one), "")
            named = self.asking.ask(question, read)
            if not named:
                return found
            self._entry(found, named, below, at)

    def _entry(self, found: dict[str, Any], name: str, kind: Any, at: str) -> None:
        """Ask for one entry of a table, and put it there when it is given."""
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            found[name] = self.block(kind, f"{at}/{name}")
        else:
            value = self._value("value", FieldInfo(annotation=kind), kind, f"{at}/{name}")
            found[name] = value.get("value")

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
        choices = get_args(kind) if get_origin(kind) is Literal else ()
        question = SheetQuestion(
            at,
            f"{_said(at)} ({form})",
            _says(one),
            default,
            choices,
            may_be_spelled=name == "serial" or kind is date,
        )
        value = self.asking.ask(question, read)
        return {} if value is None else {name: value}

    def _unit(self, at: str) -> str:
        """Return the unit of a number by the names above it: a quantity's, or that of the fact's own name."""
        for name in reversed(at.split("/")):
            known = self.units.get(name) or self.units.get(name.removesuffix("_high"))
            known = known or _SUFFIXES.get(name.rpartition("_")[2])
            if known is not None:
                return known
        return ""


def _named(text: str, *, key: TypeAdapter[str], taken: frozenset[str], least: bool) -> str:
    if not text:
        if least and not taken:
            raise ValueError("at least one is needed: write its name")
        return text
    if text in taken:
        raise ValueError("this name stands there already")
    try:
        key.validate_python(text)
    except ValidationError as error:
        raise ValueError(plainly(error.errors()[0])) from None
    return text


def _said(at: str) -> str:
    """Return a path as it is said: `instrument/serial` is "instrument, serial"; its unit is said behind it."""
    name, _, unit = at.rpartition("_")
    return (name if unit in _SUFFIXES else at).replace("/", ", ").replace("_", " ")


def _says(one: FieldInfo) -> str:
    return " ".join(one.description.split()).removesuffix(".") if one.description else ""


__all__ = ["Asking", "SheetQuestion", "SheetQuestions"]
