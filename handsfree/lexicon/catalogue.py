"""The words of one language, read once: phrases, hazards, quantities, units, and the tool's sayings."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from functools import cache, cached_property
from importlib import resources
from string import Formatter
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from ruamel.yaml import YAML

from handsfree.lexicon.meaning import CommandName
from handsfree.lexicon.numbers import Numbers
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.lexicon.spelling import Spelling

ENGLISH: Final = "english"
_LETTERS = re.compile(r"\b([A-Z]{2,3})([0-9])?\b")

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


class Wording(_Frozen):
    """Words that the authors' proofs look for: those that say what to do, and those that promise too much."""

    actions: tuple[str, ...] = Field(min_length=1)
    promises: tuple[str, ...]

    @cached_property
    def action(self) -> re.Pattern[str]:
        """Finds a word that says what to do."""
        return _any_of(self.actions)

    @cached_property
    def promise(self) -> re.Pattern[str]:
        """Finds a word that promises what nobody can know."""
        return _any_of(self.promises)


class GlanceWords(_Frozen):
    """What the technician's screen shows: unit signs, devices, reasons that can be chosen by key, and labels."""

    tag: str
    """The language as a page names it (BCP 47), so that it is read aloud right."""
    units: dict[str, str]
    devices: dict[str, str]
    cleared: tuple[str, ...]
    not_done: tuple[str, ...] = Field(alias="not-done")
    labels: dict[str, str]


class Catalogue(_Frozen):
    """Everything the tool says or hears by itself, in one language."""

    language: str
    """Its name, which is also its file's."""
    voice: str
    """The voice of the speech engine."""
    dictionary: Literal["cmudict"] | None = None
    """The pronouncing dictionary of the language, where one ships."""
    pronunciations: dict[str, str] = {}
    """Words that the dictionary lacks, in its phones."""
    everywhere: dict[CommandName, tuple[str, ...]]
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
    wording: Wording
    glance: GlanceWords

    @model_validator(mode="before")
    @classmethod
    def _with_facts(cls, content: Any) -> Any:
        """Add unit and range to each quantity: they are the same in every language."""
        if not isinstance(content, dict) or not isinstance(content.get("quantities"), dict):
            return content
        facts, named = _quantity_facts(), content["quantities"]
        unknown = [name for name in named if name not in facts]
        if unknown:
            message = f"there is no quantity {', '.join(unknown)}; known: {', '.join(facts)}"
            raise ValueError(message)
        whole = {name: {**facts[name], **words} for name, words in named.items() if isinstance(words, dict)}
        return {**content, "quantities": {**named, **whole}}

    def pronounced(self, spelled: Mapping[str, str]) -> Pronunciations:
        """Return how words are said, some spelled out beside the language's own; Problem as `Pronunciations`."""
        return Pronunciations({**self.pronunciations, **spelled}, dictionary=self.dictionary is not None)

    def as_heard(self, text: str) -> str:
        """Return a text as the ear takes it: abbreviations letter by letter, no punctuation, lower case."""

        def spell(match: re.Match[str]) -> str:
            digit = match.group(2)
            return " ".join([*match.group(1), *([self.numbers.said.digits[int(digit)]] if digit else [])])

        spelled = _LETTERS.sub(spell, re.sub(r"\{[^}]*\}", " ", text))
        return " ".join(re.sub(r"[^\w' ]", " ", spelled.lower().replace("-", " ")).split())

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


def _any_of(phrases: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile(rf"\b({'|'.join(map(re.escape, phrases))})\b", re.IGNORECASE)


def _shipped(file: str) -> Any:
    text = resources.files(__package__).joinpath(file).read_text(encoding="utf-8")
    return YAML(typ="safe", pure=True).load(text)


@cache
def _quantity_facts() -> dict[str, dict[str, Any]]:
    return dict(_shipped("quantities.yaml"))


@cache
def english_content() -> dict[str, Any]:
    """Return the English catalogue as it stands in its file: what any other language must hold too."""
    return dict(_shipped(f"{ENGLISH}.yaml"))


@cache
def english() -> Catalogue:
    """Return the English catalogue that ships."""
    return Catalogue.model_validate(english_content())
