"""Serial numbers, letter by letter in the spelling alphabet (ICAO Annex 10 volume II, 5.2.1.3)."""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.lexicon.automaton import Pattern, phrases, repeated
from handsfree.lexicon.spoken import WORD_OF

ALPHABET = (
    *("alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india"),
    *("juliett", "kilo", "lima", "mike", "november", "oscar", "papa", "quebec", "romeo"),
    *("sierra", "tango", "uniform", "victor", "whiskey", "xray", "yankee", "zulu"),
)
"""The word of each letter, A to Z; X-ray is one word without its hyphen."""

ALSO_SAID = {"alpha": "A", "juliet": "J", "whisky": "W", "x ray": "X", "niner": "9", "hyphen": "-"}
"""Other spellings of the same words in dictionaries and speech models."""

SIGN_OF = {
    **{word: word[0].upper() for word in ALPHABET},
    **{word: sign for sign, word in WORD_OF.items() if sign.isdigit()},
    "dash": "-",
    "slash": "/",
    **ALSO_SAID,
}
"""The sign that each word stands for. "Oh" is none of them: in a serial number it could be O or 0."""

SAID_FOR = {**{word[0].upper(): word for word in ALPHABET}, **WORD_OF, "-": "dash", "/": "slash"}


def pattern() -> Pattern:
    """Return every serial number as it may be said: one sign or more."""
    return repeated(phrases(SIGN_OF))


def read(words: Sequence[str]) -> str:
    """Return the serial number that the words spell, or the empty text when they spell none."""
    signs, rest = [], list(words)
    while rest:
        two = " ".join(rest[:2])
        taken = 2 if two in SIGN_OF and len(rest) > 1 else 1
        sign = SIGN_OF.get(" ".join(rest[:taken]))
        if sign is None:
            return ""
        signs.append(sign)
        del rest[:taken]
    return "".join(signs)


def read_back(serial: str) -> str:
    """Return the words for a serial number in groups of three signs, with a comma where to pause.

    Raises KeyError for a sign that `read` never gives.
    """
    words = [SAID_FOR[sign] for sign in serial]
    return ", ".join(" ".join(words[at : at + 3]) for at in range(0, len(words), 3))
