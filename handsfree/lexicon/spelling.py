"""Serial numbers, letter by letter in the spelling alphabet of the language's file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from handsfree.lexicon.automaton import Pattern, phrases, repeated

Sign = Annotated[str, Field(min_length=1, max_length=1)]

GROUP = 3
"""Signs that are read back in one breath."""


class Spelling(BaseModel):
    """The words for the signs of a serial number."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    said: dict[Sign, str]
    """Sign -> the word the tool says for it."""
    also_heard: dict[str, Sign] = Field(default={}, alias="also-heard")
    """Other words for the same signs."""

    @cached_property
    def sign_of(self) -> Mapping[str, str]:
        """The sign that each word stands for."""
        return {**{word: sign for sign, word in self.said.items()}, **self.also_heard}

    def pattern(self) -> Pattern:
        """Return every serial number as it may be said: one sign or more."""
        return repeated(phrases(self.sign_of))

    def read(self, words: Sequence[str]) -> str:
        """Return the serial number that the words spell, or the empty text when they spell none."""
        signs, rest = [], list(words)
        while rest:
            two = " ".join(rest[:2])
            taken = 2 if two in self.sign_of and len(rest) > 1 else 1
            sign = self.sign_of.get(" ".join(rest[:taken]))
            if sign is None:
                return ""
            signs.append(sign)
            del rest[:taken]
        return "".join(signs)

    def read_back(self, serial: str) -> str:
        """Return the words for a serial number in groups of three signs, with a comma where to pause.

        Raises KeyError for a sign that `read` never gives.
        """
        words = [self.said[sign] for sign in serial]
        return ", ".join(" ".join(words[at : at + GROUP]) for at in range(0, len(words), GROUP))
