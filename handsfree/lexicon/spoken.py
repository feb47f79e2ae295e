"""How the tool itself says a number: digit by digit, with a word for the point (ICAO Annex 10, 5.2.1.4.1)."""

from __future__ import annotations

from decimal import Decimal

WORD_OF = {
    "0": "zero",
    "1": "one",
    "2": "two",
    "3": "three",
    "4": "four",
    "5": "five",
    "6": "six",
    "7": "seven",
    "8": "eight",
    "9": "nine",
    ".": "point",
    "-": "minus",
}


TWIN_WORDS = frozenset(
    {"thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"}
    | {"thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"}
)
"""Words for numbers that have a twin which sounds alike."""


def digits(value: Decimal) -> str:
    """Return the words for a finite number, every digit that was given: 9.30 is "nine point three zero"."""
    return " ".join(WORD_OF[character] for character in f"{value:f}")


def ask_apart(value: Decimal) -> bool:
    """Say whether the number, said in words, has a twin that sounds alike: fifteen and fifty, both ways.

    True when two digits that people say as one word are thirteen to nineteen or thirty, forty ... ninety:
    the last two before the point (18, 118), the two before those (1812, "eighteen twelve"), those of the
    thousands (18 000), and two that stand alone after the point (9.15, "nine point fifteen").
    """
    whole, _, fraction = f"{abs(value):f}".partition(".")
    spots = [whole[-2:], whole[-4:-2] if len(whole) == 4 else "", whole[-5:-3]]
    spots.append(fraction if len(fraction) == 2 else "")
    return any(len(spot) == 2 and _teen_or_ty(spot) for spot in spots)


def _teen_or_ty(two: str) -> bool:
    tens, unit = two[0], two[1]
    return (tens == "1" and unit >= "3") or (tens >= "3" and unit == "0")
