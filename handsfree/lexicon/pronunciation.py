"""How words are said: the CMU pronouncing dictionary, and what a procedure spells out itself.

Phones are the 39 of the dictionary, without stress ("AA" ... "ZH"). The dictionary's data and its licence
(BSD, two clauses) stand in `dictionary/`; `trade.txt` beside it adds the few trade words that it lacks.
"""

from __future__ import annotations

import difflib
import lzma
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache, lru_cache
from importlib.resources import files
from typing import Final

from handsfree.problem import Problem

Phones = tuple[str, ...]

PHONES: Final = (
    "AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G", "HH", "IH", "IY", "JH",
    "K", "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH", "UH", "UW", "V", "W", "Y", "Z", "ZH",
)  # fmt: skip


@cache
def _dictionary() -> bytes:
    """Return the dictionary as it is written, a word a line: as words of Python it takes ten times the memory.

    Lines are in the order of their words; a further way to say "word" stands below it as "word(2)".
    """
    return lzma.decompress(files("handsfree.lexicon").joinpath("dictionary", "cmudict.xz").read_bytes())


@cache
def _trade_words() -> Mapping[str, Phones]:
    listing = files("handsfree.lexicon").joinpath("dictionary", "trade.txt").read_text(encoding="utf-8")
    return {word: tuple(phones) for word, *phones in map(str.split, listing.splitlines())}


def _begin_of(listing: bytes, place: int) -> int:
    """Return where the line begins in which a place lies."""
    return listing.rfind(b"\n", 0, place) + 1


def _word_at(listing: bytes, begin: int) -> bytes:
    """Return the word of a line, without the number of a further way to say it."""
    return listing[begin : listing.index(b" ", begin)].partition(b"(")[0]


@lru_cache(maxsize=8192)
def _in_dictionary(word: str) -> tuple[Phones, ...]:
    """Return every way to say a word, the commonest first."""
    if word in _trade_words():
        return (_trade_words()[word],)
    listing, wanted = _dictionary(), word.encode()
    place = bisect_left(
        range(len(listing)), wanted, key=lambda place: _word_at(listing, _begin_of(listing, place))
    )
    begin = _begin_of(listing, place)
    found: dict[Phones, None] = {}
    while begin < len(listing) and _word_at(listing, begin) == wanted:
        end = listing.index(b"\n", begin)
        found[tuple(listing[begin:end].decode().split()[1:])] = None
        begin = end + 1
    return tuple(found)


@dataclass(frozen=True)
class Pronunciations:
    """Look words up; `spelled` adds words, or other ways to say them, as phones parted by blanks.

    A spelled-out word is said as spelled only: the author knows better than the dictionary. Raises
    `Problem` when a spelling holds something that is no phone, naming all such words.
    """

    spelled: Mapping[str, str] = field(default_factory=dict)
    dictionary: bool = True
    """Whether the dictionary counts: it is English, and another language spells all its words itself."""

    def __post_init__(self) -> None:
        wrong = {
            word: [phone for phone in text.split() if phone not in PHONES] for word, text in self.spelled.items()
        }
        told = [f"'{word}' ({', '.join(bad) or 'nothing'})" for word, bad in wrong.items() if bad]
        told += [f"'{word}' (nothing)" for word, text in self.spelled.items() if not text.split()]
        if told:
            raise Problem(
                f"these words are spelled with something that is no phone: {', '.join(told)}",
                remedy=f"the phones are {' '.join(PHONES)}",
            )

    def of(self, word: str) -> tuple[Phones, ...]:
        """Return every known way to say the word, the commonest first; none for an unknown word."""
        if word in self.spelled:
            return (tuple(self.spelled[word].split()),)
        return _in_dictionary(word.lower()) if self.dictionary else ()

    def unknown(self, words: Iterable[str]) -> tuple[str, ...]:
        """Return the words that cannot be said, sorted."""
        return tuple(sorted({word for word in words if not self.of(word)}))

    def require(self, words: Iterable[str], *, where: str | None = None) -> None:
        """Raise `Problem` that names every unknown word at once, each with the nearest known ones."""
        unknown = self.unknown(words)
        if not unknown:
            return
        told = []
        for word in unknown:
            near = self.nearest(word)
            told.append(f"'{word}'" + (f" (near: {', '.join(near)})" if near else ""))
        raise Problem(
            f"no pronunciation is known for {', '.join(told)}",
            where=where,
            remedy="use another word, or spell it out under 'words:' in phones, as in \"words: {ok: 'OW K EY'}\"",
        )

    def nearest(self, word: str, count: int = 3) -> tuple[str, ...]:
        """Return known words written most like this one."""
        first = word[:1].lower()
        listed = [line.split(" ", 1)[0] for line in _dictionary().decode().splitlines()] if self.dictionary else []
        every = (*self.spelled, *listed, *(_trade_words() if self.dictionary else ()))
        known = [entry for entry in every if entry[:1] == first and "(" not in entry]
        return tuple(difflib.get_close_matches(word.lower(), known, n=count, cutoff=0.6))
