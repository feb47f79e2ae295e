"""The words of one language: phrases, hazards, quantities, units, and the tool's sayings.

The words of any trade stand in this folder; those of one trade are laid over them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from decimal import Decimal
from functools import cache, cached_property
from importlib import resources
from string import Formatter
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from ruamel.yaml import YAML

from handsfree.lexicon.meaning import CommandName
from handsfree.lexicon.numbers import Numbers
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.lexicon.spelling import Spelling
from handsfree.lexicon.stops import StopsFile

ENGLISH: Final = "english"
LONGEST_IN_SECONDS = 120
"""A longer wait is said in minutes: common practice, no source."""

_LETTERS = re.compile(r"\b([A-Z]{2,3})([0-9])?\b")
_SPELLED = re.compile(r"\b[a-z](?: [a-z])+\b")

Exact = Annotated[Decimal, BeforeValidator(lambda value: str(value) if isinstance(value, int) else value)]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Hazard(_Frozen):
    """Phrases that stop the work at the first hearing, and what the tool then says, action first."""

    heard: tuple[str, ...]
    alone: tuple[str, ...] = ()
    """Words that do so when nothing else is said with them: a bare cry."""
    typed: tuple[str, ...] = ()
    """Words that do so when nothing else is typed with them: heard, they lie too near another answer."""
    script: str
    source: str


class StepWords(_Frozen):
    """How a step after a stop is asked, and how each of its answers is heard."""

    prompt: str
    answers: dict[str, tuple[str, ...]] = {}


class Quantity(_Frozen):
    """What can be read off an instrument: its names, its UCUM unit, and what is sayable at all."""

    said: str
    heard: tuple[str, ...]
    unit: str
    decimals: int
    low: Exact
    high: Exact
    also: dict[str, int] = {}
    """Other units that instruments show it in, each with its digits after the point."""


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
    not_done: tuple[str, ...] = Field(alias="not-done")
    no_photo: tuple[str, ...] = Field(default=(), alias="no-photo")
    told: tuple[str, ...] = ()
    """What keys answer where a few words are asked for: that they stand elsewhere."""
    labels: dict[str, str]


class Catalogue(_Frozen):
    """Everything the tool says or hears by itself, in one language and for one trade."""

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
    typed: dict[str, tuple[str, ...]] = {}
    """Further words for the answers of these names: taken when typed, too near another phrase when heard."""
    rates: dict[str, tuple[str, ...]]
    turns: dict[int, tuple[str, ...]]
    hazards: dict[str, Hazard]
    steps: dict[str, StepWords]
    """The words of the steps after a stop."""
    stops: StopsFile
    """What follows each stop; facts of the trade, the same in every language."""
    quantities: dict[str, Quantity]
    units: dict[str, Unit]
    numbers: Numbers
    spelling: Spelling
    limits: dict[str, str] = {}
    """What is said when a stop limit is passed."""
    limit_of: dict[str, str] = {}
    """What each of those is a limit of, as a screen shows it beside the numbers."""
    relations: dict[str, str] = {}
    """What is unusual where quantities do not stand to each other as the trade has it."""
    supplies: dict[str, str] = {}
    """Other supplies that values tied to each other are said to fit."""
    subjects: dict[str, str]
    waits: dict[int, str]
    refusals: dict[str, str] = {}
    """Why no turn is advised."""
    sayings: dict[str, str]
    wording: Wording
    glance: GlanceWords
    taken_back: tuple[str, ...] = ()
    """Quantities that "was wrong" takes back by their name at any moment; a fact of the trade."""
    over_range: tuple[str, ...] = ()
    """Quantities whose "over range" is understood at any moment; a fact of the trade."""

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

    def as_shown(self, heard: str) -> str:
        """Return a phrase as a screen shows it: what is spelled letter by letter is an abbreviation again."""
        return _SPELLED.sub(lambda match: match[0].replace(" ", "").upper(), heard)

    def say(self, saying: str, **blanks: str) -> str:
        """Return the saying with its blanks filled; KeyError when the saying or a blank is unknown."""
        return _filled(self.sayings[saying], blanks)

    def limit_passed(self, detail: str) -> str:
        """Return what passed a stop limit as people read it: the record has a name and UCUM codes for it."""
        name, *numbers = re.split(r"([ ,;]+)", detail)
        said = self.limit_of.get(name, name.replace("-", " "))
        return sentence_case(said) + "".join(self.glance.units.get(one, one) for one in numbers)

    def wait_text(self, milliseconds: int) -> str:
        """Return that there is a wait, as the tool says it: in seconds, or in minutes or hours when it is long."""
        seconds = -(-milliseconds // 1000)
        if seconds in self.waits:
            return self.say("wait", minutes=self.waits[seconds])
        for saying, unit in (("wait-hours", 3600), ("wait-minutes", 60)):
            if seconds >= 2 * unit and seconds % unit == 0:
                return self.say(saying, count=str(seconds // unit))
        if seconds > LONGEST_IN_SECONDS:
            minutes = -(-seconds // 60)
            whole = self.waits.get(60 * minutes)  # said as a whole wait of so many minutes is
            return (
                self.say("wait-minutes", count=str(minutes)) if whole is None else self.say("wait", minutes=whole)
            )
        return self.say("wait-seconds", seconds=str(seconds))

    def far(self, eighths: int) -> str:
        """Return a part of a turn as the tool says it."""
        return self.turns[eighths][0] if eighths in self.turns else self.say("eighths", count=f"{eighths}")

    def refuse(self, refusal: str, **blanks: str) -> str:
        """Return why no turn is advised, with the blanks filled; KeyError as for `say`."""
        return _filled(self.refusals[refusal], blanks)

    def show(self, label: str, **blanks: str) -> str:
        """Return a label of the technician's screen with its blanks filled; KeyError as for `say`."""
        return _filled(self.glance.labels[label], blanks)

    def hazard_of(self, text: str, *, typed: bool = False) -> str | None:
        """Return which hazard a text calls: by a phrase within it, or by a cry that is the whole of it."""
        words = " ".join(text.lower().split())
        for name, hazard in self.hazards.items():
            if _holds(words, hazard.heard) or words in hazard.alone or (typed and words in hazard.typed):
                return name
        return None

    def hazard_within(self, text: str) -> str | None:
        """Return the hazard of which a text holds any phrase or cry, or None: what the tool must never say."""
        words = " ".join(text.lower().split())
        for name, hazard in self.hazards.items():
            if _holds(words, (*hazard.heard, *hazard.alone)):
                return name
        return None


def _holds(words: str, phrases: Iterable[str]) -> bool:
    padded = f" {words} "
    return any(f" {phrase} " in padded for phrase in phrases)


def sentence_case(text: str) -> str:
    """Return a text as a sentence begins: its first letter large, the others as they are."""
    return text[:1].upper() + text[1:]


def _filled(template: str, blanks: dict[str, str]) -> str:
    return template.format(**{name: blanks[name] for _, name, _, _ in Formatter().parse(template) if name})


def _any_of(phrases: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile(rf"\b({'|'.join(map(re.escape, phrases))})\b", re.IGNORECASE)


def laid_over(content: Mapping[Any, Any], words: Mapping[Any, Any]) -> dict[Any, Any]:
    """Return the content with other words laid over it: mappings are put together, anything else is replaced."""
    both = {
        key: laid_over(content[key], value) if isinstance(value, Mapping) and _mapping(content.get(key)) else value
        for key, value in words.items()
    }
    return {**content, **both}


def _mapping(value: Any) -> bool:
    return isinstance(value, Mapping)


def with_facts(content: Mapping[str, Any], facts: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """Return the words of a language with unit and range of each quantity, the same in every language.

    Raises ValueError when the words name a quantity that has no facts.
    """
    named = content.get("quantities")
    if not isinstance(named, Mapping):
        return dict(content)
    unknown = [str(name) for name in named if name not in facts]
    if unknown:
        raise ValueError(f"there is no quantity {', '.join(unknown)}; known: {', '.join(facts)}")
    whole = {name: {**facts[name], **words} for name, words in named.items() if isinstance(words, Mapping)}
    return {**content, "quantities": {**named, **whole}}


@cache
def english_content() -> dict[str, Any]:
    """Return the English words of any trade as they stand in their file."""
    text = resources.files(__package__).joinpath(f"{ENGLISH}.yaml").read_text(encoding="utf-8")
    return dict(YAML(typ="safe", pure=False).load(text))  # the parser in C reads it alike in a sixth of the time
