"""The words of one language, read once: phrases, hazards, quantities, units, and the tool's sayings."""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from importlib import resources
from string import Formatter
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict
from ruamel.yaml import YAML

Exact = Annotated[Decimal, BeforeValidator(lambda value: str(value) if isinstance(value, int) else value)]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Hazard(_Frozen):
    """Phrases that stop the work at the first hearing, and what the tool then says, action first."""

    heard: tuple[str, ...]
    script: str
    source: str


class Quantity(_Frozen):
    """What can be read off an instrument: its names, its UCUM unit, and what is sayable at all."""

    said: str
    heard: tuple[str, ...]
    unit: str
    decimals: int
    low: Exact
    high: Exact


class Unit(_Frozen):
    """How a UCUM unit is said and heard."""

    said: str
    heard: tuple[str, ...]


class Catalogue(_Frozen):
    """Everything the tool says or hears by itself, in one language."""

    language: str
    everywhere: dict[str, tuple[str, ...]]
    answers: dict[str, tuple[str, ...]]
    rates: dict[str, tuple[str, ...]]
    turns: dict[int, tuple[str, ...]]
    hazards: dict[str, Hazard]
    quantities: dict[str, Quantity]
    units: dict[str, Unit]
    sayings: dict[str, str]

    def say(self, saying: str, **blanks: str) -> str:
        """Return the saying with its blanks filled; KeyError when the saying or a blank is unknown."""
        template = self.sayings[saying]
        return template.format(**{name: blanks[name] for _, name, _, _ in Formatter().parse(template) if name})

    def hazard_of(self, text: str) -> str | None:
        """Return which hazard a text contains as whole words, or None."""
        padded = f" {' '.join(text.lower().split())} "
        for name, hazard in self.hazards.items():
            if any(f" {heard} " in padded for heard in hazard.heard):
                return name
        return None


@cache
def english() -> Catalogue:
    """Return the English catalogue that ships."""
    text = resources.files(__package__).joinpath("english.yaml").read_text(encoding="utf-8")
    return Catalogue.model_validate(YAML(typ="safe", pure=True).load(text))
