"""The words of one language, read once: phrases, hazards, quantities, units, and the tool's sayings."""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from importlib import resources
from string import Formatter
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from ruamel.yaml import YAML

from handsfree.lexicon.numbers import Numbers
from handsfree.lexicon.spelling import Spelling

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


class GlanceWords(_Frozen):
    """What the technician's screen shows: unit signs, devices, reasons that can be chosen by key, and labels."""

    units: dict[str, str]
    devices: dict[str, str]
    cleared: tuple[str, ...]
    not_done: tuple[str, ...] = Field(alias="not-done")
    labels: dict[str, str]


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
    numbers: Numbers
    spelling: Spelling
    limits: dict[str, str]
    fuels: dict[str, str]
    subjects: dict[str, str]
    waits: dict[int, str]
    refusals: dict[str, str]
    sayings: dict[str, str]
    glance: GlanceWords

    def say(self, saying: str, **blanks: str) -> str:
        """Return the saying with its blanks filled; KeyError when the saying or a blank is unknown."""
        return _filled(self.sayings[saying], blanks)

    def refuse(self, refusal: str, **blanks: str) -> str:
        """Return why no turn is advised, with the blanks filled; KeyError as for `say`."""
        return _filled(self.refusals[refusal], blanks)

    def show(self, label: str, **blanks: str) -> str:
        """Return a label of the technician's screen with its blanks filled; KeyError as for `say`."""
        return _filled(self.glance.labels[label], blanks)

    def hazard_of(self, text: str) -> str | None:
        """Return which hazard a text contains as whole words, or None."""
        padded = f" {' '.join(text.lower().split())} "
        for name, hazard in self.hazards.items():
            if any(f" {heard} " in padded for heard in hazard.heard):
                return name
        return None


def sentence_case(text: str) -> str:
    """Return a text as a sentence begins: its first letter large, the others as they are."""
    return text[:1].upper() + text[1:]


def _filled(template: str, blanks: dict[str, str]) -> str:
    return template.format(**{name: blanks[name] for _, name, _, _ in Formatter().parse(template) if name})


@cache
def english() -> Catalogue:
    """Return the English catalogue that ships."""
    text = resources.files(__package__).joinpath("english.yaml").read_text(encoding="utf-8")
    return Catalogue.model_validate(YAML(typ="safe", pure=True).load(text))
