"""How a word that the dictionary lacks is likely said: put together from words that it has, else by its letters.

The letters' sounds are common practice of English spelling, from memory; `tests/lexicon/test_proposing.py` holds
them against words that the dictionary has. A proposal is for the author to read aloud: it is never used unasked.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from handsfree.lexicon.pronunciation import Phones, Pronunciations

_LETTERS: Final = {
    "tion": "SH AH N", "sion": "ZH AH N", "ture": "CH ER", "ough": "AO", "augh": "AO", "igh": "AY", "tch": "CH",
    "dge": "JH", "ck": "K", "ch": "CH", "sh": "SH", "th": "TH", "ph": "F", "wh": "W", "gh": "G", "ng": "NG",
    "nk": "NG K", "qu": "K W", "kn": "N", "wr": "R", "ee": "IY", "ea": "IY", "oo": "UW", "ou": "AW", "ow": "OW",
    "oa": "OW", "oi": "OY", "oy": "OY", "ai": "EY", "ay": "EY", "au": "AO", "aw": "AO", "ew": "UW", "ie": "IY",
    "ar": "AA R", "or": "AO R", "er": "ER", "ir": "ER", "ur": "ER", "le": "AH L", "ce": "S", "ci": "S IH",
    "cy": "S IY", "ge": "JH", "a": "AE", "b": "B", "c": "K", "d": "D", "e": "EH", "f": "F", "g": "G", "h": "HH",
    "i": "IH", "j": "JH", "k": "K", "l": "L", "m": "M", "n": "N", "o": "AA", "p": "P", "q": "K", "r": "R",
    "s": "S", "t": "T", "u": "AH", "v": "V", "w": "W", "x": "K S", "y": "IY", "z": "Z",
}  # fmt: skip
_LONG: Final = {"a": "EY", "e": "IY", "i": "AY", "o": "OW", "u": "UW"}
_ENDINGS: Final = {"s": "Z", "es": "IH Z", "ed": "D", "ing": "IH NG", "er": "ER", "ly": "L IY", "less": "L AH S",
                   "able": "AH B AH L", "ness": "N AH S"}  # fmt: skip
_BEGINNINGS: Final = {"un": "AH N", "re": "R IY", "de": "D IY", "pre": "P R IY", "non": "N AA N",
                      "over": "OW V ER", "micro": "M AY K R OW", "thermo": "TH ER M OW"}  # fmt: skip
_VOWELS: Final = "aeiouy"
_UNVOICED: Final = frozenset({"P", "T", "K", "F", "TH"})
_HISSING: Final = frozenset({"S", "Z", "SH", "ZH", "CH", "JH"})


def proposed(word: str, known: Pronunciations) -> tuple[str, ...]:
    """Return likely ways to say a word, the likeliest first, as phones parted by blanks; none repeated.

    A word in two known words, with a known beginning or ending, comes before one by its letters; a word without a
    vowel is said letter by letter. The word itself is never looked up.
    """
    text = word.lower().replace("'", "")
    ways = [*_of_two_words(text, known), *_with_affix(text, known)]
    if not any(letter in _VOWELS for letter in text):
        ways += _spelled(text, known)
    ways.append(_by_letters(text))
    return tuple(dict.fromkeys(" ".join(phones) for phones in ways if phones))[:4]


def _of_two_words(text: str, known: Pronunciations) -> Iterator[Phones]:
    """Yield two known words said after one another, the most even split first."""
    for at in sorted(range(3, len(text) - 2), key=lambda cut: abs(2 * cut - len(text))):
        first, second = known.of(text[:at]), known.of(text[at:])
        if first and second:
            yield (*first[0], *second[0])


def _with_affix(text: str, known: Pronunciations) -> Iterator[Phones]:
    for ending, phones in _ENDINGS.items():
        stem = text.removesuffix(ending)
        doubled = stem[:-1] if len(stem) > 3 and stem[-1] == stem[-2] else stem
        for one in (stem, stem + "e", doubled) if stem != text and len(stem) > 2 else ():
            for way in known.of(one)[:1]:
                yield (*way, *_ended(way, ending, phones))
    for beginning, phones in _BEGINNINGS.items():
        for way in known.of(text.removeprefix(beginning))[:1] if text.startswith(beginning) else ():
            yield (*phones.split(), *way)


def _ended(stem: Phones, ending: str, phones: str) -> Phones:
    """Return the sounds of an ending after a stem: -s and -ed follow its last sound."""
    last = stem[-1]
    if ending in {"s", "es"}:
        return ("IH", "Z") if last in _HISSING else ("S",) if last in _UNVOICED else ("Z",)
    if ending == "ed":
        unvoiced = last in _UNVOICED or last in {"S", "SH", "CH"}
        return ("IH", "D") if last in {"T", "D"} else ("T",) if unvoiced else ("D",)
    return tuple(phones.split())


def _spelled(text: str, known: Pronunciations) -> Iterator[Phones]:
    letters: Mapping[str, tuple[Phones, ...]] = {letter: known.of(letter) for letter in text}
    if all(letters.values()):
        yield tuple(phone for letter in text for phone in letters[letter][0])


def _by_letters(text: str) -> Phones:
    """Return the sounds of a word's letters, longest groups first; a vowel before a consonant and e is long."""
    phones: list[str] = []
    at = 0
    while at < len(text):
        last_e = text[at] == "e" and at == len(text) - 1 and len(phones) > 1
        long = text[at] in _LONG and text[at + 2 :] == "e" and text[at + 1 : at + 2] not in {"", *_VOWELS}
        if (at and text[at] == text[at - 1] and text[at] not in _VOWELS) or last_e:
            at += 1
        elif long:
            phones.append(_LONG[text[at]])
            at += 1
        else:
            group = next((text[at : at + size] for size in (4, 3, 2, 1) if text[at : at + size] in _LETTERS), "")
            phones += _LETTERS.get(group, "").split()
            at += max(1, len(group))
    return tuple(phones)
