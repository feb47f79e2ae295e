"""What the training voices say: numbers in every form, the trade's phrases, spelling words, common English.

A quarter or more is common English, so that every phone is heard in every surrounding: that is what lets
authors add words without training and lets other speech be told from the grammar.
Written to a file with `python -m models.training.texts COUNT SEED > FILE`.
"""

from __future__ import annotations

import random
import re
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from ruamel.yaml import YAML
from wordfreq import top_n_list

from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import english
from handsfree.procedure.trades import known_trades

_ROOT = Path(__file__).parents[2]
_DIGITS = tuple("zero one two three four five six seven eight nine".split())  # noqa: SIM905 - reads as it is said
_TEENS = tuple(
    "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()  # noqa: SIM905
)
_TENS = tuple("twenty thirty forty fifty sixty seventy eighty ninety".split())  # noqa: SIM905
ALPHABET = tuple(word for sign, word in english().spelling.said.items() if sign.isalpha())
_LETTERS = tuple("abcdefghijklmnopqrstuvwxyz")
_UNITS = [
    "percent",
    "parts per million",
    "p p m",
    "degrees",
    "degrees celsius",
    "millibar",
    "bar",
    "inches",
    "cubic metres",
    "cubic feet",
    "seconds",
    "microamps",
    "per minute",
    "r p m",
    "kilowatts",
    "metres",
    "pascals",
    "litres",
    "minutes",
    "hertz",
    "volts",
    "feet",
]
_COMMON = 6000


@cache
def trade_phrases() -> tuple[str, ...]:
    """Return every phrase that the shipped language file, procedures and word list can hear, sorted."""
    yaml = YAML(typ="safe")
    found: set[str] = set()
    words = [_ROOT / "handsfree" / "lexicon" / "english.yaml"]
    words += sorted((_ROOT / "handsfree" / "trades").glob("*/english.yaml"))
    for file in (*words, *sorted((_ROOT / "procedures").glob("*.yaml"))):
        if file.is_file():
            found |= set(_heard(yaml.load(file)))
    found |= set((Path(__file__).with_name("phrases.txt")).read_text(encoding="utf-8").splitlines())
    known = Pronunciations()
    usable = {phrase for phrase in found if phrase and not known.unknown(phrase.split())}
    return tuple(sorted(usable))


@cache
def stop_phrases() -> tuple[str, ...]:
    """Return the phrases that stop the work: they must be heard at the first try, so they are said most often."""
    hazards = [hazard for trade in known_trades() for hazard in english(trade).hazards.values()]
    return tuple(sorted({phrase for hazard in hazards for phrase in hazard.heard}))


@cache
def trade_words() -> tuple[str, ...]:
    """Return the words of the trade's phrases: said in any order, none is known by its neighbours alone."""
    return tuple(sorted({word for phrase in trade_phrases() for word in phrase.split()}))


def _heard(tree: object) -> Iterator[str]:
    """Yield every lower-case phrase of words in a tree; a phrase that is not meant to be heard does no harm."""
    if isinstance(tree, dict):
        for value in tree.values():
            yield from _heard(value)
    elif isinstance(tree, list):
        for value in tree:
            yield from _heard(value)
    elif isinstance(tree, str) and re.fullmatch(r"[a-z' -]+", tree) and len(tree.split()) <= 6:
        yield tree.strip()


@cache
def common_words() -> tuple[str, ...]:
    """Return the commonest English words that the dictionary can say."""
    known = Pronunciations()
    return tuple(word for word in top_n_list("en", _COMMON) if word.isascii() and known.of(word) and len(word) > 1)


class Texts:
    """An endless source of things to say, repeatable by its seed."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed)

    def sentence(self) -> list[str]:
        """Return the words of one utterance."""
        pick = self._random.random()
        if pick < 0.30:
            return self.number()
        if pick < 0.40:
            return self.reading()
        if pick < 0.62:
            return self._random.choice(trade_phrases()).split()
        if pick < 0.70:
            return self._random.choice(stop_phrases()).split()
        if pick < 0.75:
            return [self._random.choice(trade_words()) for _ in range(self._random.randint(1, 4))]
        if pick < 0.79:
            return self.serial()
        return [self._random.choice(common_words()) for _ in range(self._random.randint(1, 6))]

    def number(self) -> list[str]:
        """Return a number as people say it."""
        choose, chance = self._random.choice, self._random.random
        pick = chance()
        sign = ["minus"] if chance() < 0.05 else []
        if pick < 0.28:
            whole = choose([[choose(_DIGITS)], [choose(_DIGITS)], [choose(_TEENS)], self._tens()])
            fraction = [self._digit() for _ in range(choose([1, 1, 1, 1, 2, 2, 3]))]
            return [*sign, *whole, choose(["point", "point", "point", "decimal"]), *fraction]
        if pick < 0.58:
            return [self._digit() for _ in range(choose([1, 1, 1, 2, 2, 2, 3, 3, 4, 5, 6, 7]))]
        if pick < 0.74:
            hundreds = choose([choose(_DIGITS[1:]), "a", "one"])
            rest = choose([[], [choose(_DIGITS[1:])], [choose(_TEENS)], self._tens(), self._tens()])
            return [hundreds, "hundred", *(["and"] if rest and chance() < 0.6 else []), *rest]
        if pick < 0.82:
            return [choose(_DIGITS[1:]), *choose([[choose(_TEENS)], self._tens(), ["oh", choose(_DIGITS)]])]
        if pick < 0.86:
            rest = choose([[], [choose(_DIGITS[1:]), "hundred"], ["and", *self._tens()]])
            return [choose([choose(_DIGITS[1:]), choose(_TEENS)]), "thousand", *rest]
        if pick < 0.93:
            return [*sign, *self._tens()]
        return [*sign, choose(_TEENS), *([choose(_TEENS)] if chance() < 0.3 else [])]

    def reading(self) -> list[str]:
        """Return a reading or a set of readings, with a quantity before, a unit behind or a correction."""
        chance = self._random.random
        if chance() < 0.3:
            return [word for _ in range(self._random.randint(2, 3)) for word in self.number()][:9]
        quantity = self._random.choice(
            [
                "c o two",
                "o two",
                "c o",
                "oxygen",
                "carbon monoxide",
                "flue temperature",
                "air temperature",
                "pressure",
                "fan speed",
            ]
        )
        before = quantity.split() if chance() < 0.6 else ["no"] if chance() < 0.4 else []
        behind = self._random.choice(_UNITS).split() if chance() < 0.6 else []
        return [*before, *self.number(), *behind]

    def serial(self) -> list[str]:
        """Return a piece of a serial number, by spelling alphabet, letters and digits."""
        kinds = (ALPHABET, ALPHABET, _LETTERS, (*_DIGITS, "niner", "oh"))
        return [self._random.choice(self._random.choice(kinds)) for _ in range(self._random.randint(1, 4))]

    def _digit(self) -> str:
        return self._random.choice([*_DIGITS, *_DIGITS, "oh", "oh", "niner"])

    def _tens(self) -> list[str]:
        return [
            self._random.choice(_TENS),
            *([self._random.choice(_DIGITS[1:])] if self._random.random() < 0.65 else []),
        ]


def main() -> None:
    """Print so many sentences, one a line."""
    count, seed = map(int, sys.argv[1:])
    texts = Texts(seed)
    for _ in range(count):
        print(" ".join(texts.sentence()))


if __name__ == "__main__":
    main()
