"""Numerals built out of words, written once and read in two directions.

A numeral is a name ("twelve"), a joining of two numerals ("nine" hundred and "five") or a choice of
several. From the same description comes the language of all that can be said for a range of numbers
(`said`) and the numbers that given words can mean (`meanings`), so the two cannot drift apart. Which
numerals a language has is data (`number_rules.py`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from handsfree.lexicon.automaton import Pattern, choice, exactly, phrase, phrases, sequence


@dataclass(frozen=True, eq=False)
class Named:
    """Numbers with a name of their own, by their words."""

    by_words: tuple[tuple[str, int], ...]


@dataclass(frozen=True, eq=False)
class Joined:
    """`head` times `unit` plus `tail`, said as the head, one of the joints, then the tail.

    The tail is below the unit, so that a number splits into its head and tail in one way. With `tail_first`
    the tail is said before the head, as in "ein und zwanzig".
    """

    head: Numeral
    unit: int
    joints: tuple[str, ...]
    tail: Numeral
    tail_first: bool = False


@dataclass(frozen=True, eq=False)
class AnyOf:
    """Any one of several numerals."""

    parts: tuple[Numeral, ...]


Numeral = Named | Joined | AnyOf


@lru_cache(maxsize=1024)
def bounds(numeral: Numeral) -> tuple[int, int]:
    """Return the least and the greatest number that the numeral can say."""
    match numeral:
        case Named():
            numbers = [number for _, number in numeral.by_words]
            return min(numbers), max(numbers)
        case Joined():
            (head_low, head_high), (tail_low, tail_high) = bounds(numeral.head), bounds(numeral.tail)
            return head_low * numeral.unit + tail_low, head_high * numeral.unit + tail_high
        case AnyOf():
            each = [bounds(part) for part in numeral.parts]
            return min(low for low, _ in each), max(high for _, high in each)


def said(numeral: Numeral, low: int, high: int) -> Pattern | None:
    """Return every way to say a number from low to high, or None when the numeral can say none of them."""
    least, greatest = bounds(numeral)
    low, high = max(low, least), min(high, greatest)
    return _said(numeral, low, high) if low <= high else None


@lru_cache(maxsize=4096)
def _said(numeral: Numeral, low: int, high: int) -> Pattern | None:
    match numeral:
        case Named():
            ways = [phrase(words) for words, number in numeral.by_words if low <= number <= high]
        case Joined():
            ways = [way for group in _groups(low, high, numeral.unit) if (way := _said_joined(numeral, *group))]
        case AnyOf():
            ways = [way for part in numeral.parts if (way := said(part, low, high))]
    # Minimised piece by piece: what is shared between ranges is then built once and stays small.
    return exactly(choice(*ways).automaton()) if ways else None


def _said_joined(numeral: Joined, first: int, last: int, low: int, high: int) -> Pattern | None:
    head, tail = said(numeral.head, first, last), said(numeral.tail, low, high)
    if not head or not tail:
        return None
    joint = phrases(numeral.joints)
    return sequence(tail, joint, head) if numeral.tail_first else sequence(head, joint, tail)


def _groups(low: int, high: int, unit: int) -> Iterator[tuple[int, int, int, int]]:
    """Split low..high into runs of heads with the same tails: (first, last head, tail low, tail high)."""
    (first, low_tail), (last, high_tail) = divmod(low, unit), divmod(high, unit)
    if first == last:
        yield first, last, low_tail, high_tail
        return
    yield first, first, low_tail, unit - 1
    if last - first > 1:
        yield first + 1, last - 1, 0, unit - 1
    yield last, last, 0, high_tail


@lru_cache(maxsize=65536)
def meanings(numeral: Numeral, words: tuple[str, ...]) -> frozenset[int]:
    """Return every number that the words, all of them, mean as this numeral."""
    fewest, most = _counts(numeral)
    if not fewest <= len(words) <= most or not _vocabulary(numeral).issuperset(words):
        return frozenset()  # most of what is asked ends here
    match numeral:
        case Named():
            text = " ".join(words)
            return frozenset(number for name, number in numeral.by_words if name == text)
        case Joined():
            return frozenset(
                head * numeral.unit + tail
                for first, last in _splits(words, numeral)
                for head in meanings(numeral.head, last if numeral.tail_first else first)
                for tail in meanings(numeral.tail, first if numeral.tail_first else last)
            )
        case AnyOf():
            return frozenset(number for part in numeral.parts for number in meanings(part, words))


def _splits(words: tuple[str, ...], joined: Joined) -> Iterator[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Yield what stands before and after a joint, where both parts can be so long."""
    fewest, most = _counts(joined.tail if joined.tail_first else joined.head)
    fewest_after, most_after = _counts(joined.head if joined.tail_first else joined.tail)
    for joint in joined.joints:
        between = tuple(joint.split())
        left = len(words) - len(between)
        for at in range(max(fewest, left - most_after), min(most, left - fewest_after) + 1):
            if words[at : at + len(between)] == between:
                yield words[:at], words[at + len(between) :]


@lru_cache(maxsize=1024)
def _counts(numeral: Numeral) -> tuple[int, int]:
    """Return the least and the greatest number of words that say a number."""
    match numeral:
        case Named():
            each = [len(words.split()) for words, _ in numeral.by_words]
            return min(each), max(each)
        case Joined():
            joints = [len(joint.split()) for joint in numeral.joints]
            parts = _counts(numeral.head), _counts(numeral.tail)
            return min(joints) + sum(low for low, _ in parts), max(joints) + sum(high for _, high in parts)
        case AnyOf():
            counts = [_counts(part) for part in numeral.parts]
            return min(low for low, _ in counts), max(high for _, high in counts)


@lru_cache(maxsize=1024)
def _vocabulary(numeral: Numeral) -> frozenset[str]:
    """Return every word that a number may be said with."""
    match numeral:
        case Named():
            return frozenset(word for words, _ in numeral.by_words for word in words.split())
        case Joined():
            joints = (word for joint in numeral.joints for word in joint.split())
            return frozenset(joints) | _vocabulary(numeral.head) | _vocabulary(numeral.tail)
        case AnyOf():
            return frozenset[str]().union(*(_vocabulary(part) for part in numeral.parts))


NOTHING = Named((("", 0),))
"""Nothing is said, and it counts nothing."""
