"""How likely the general recogniser finds given texts, and what it writes of its own accord.

Its free text is written first, a piece a step; that needs the sound alone. The given texts share their beginnings:
they are walked as a tree, a piece deeper at a time, each beginning once and all of one depth together. What the
free text went along is known, and what is far behind at its depth is given up. A step over few pieces costs
hardly more than one over a single piece, so that what would be asked next goes along with it.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Any, Final, Protocol

import numpy as np

from handsfree.hearing.general.pieces import END

BEAM: Final = 14.0
"""How far (log) a beginning may be behind the best of its length before it is given up."""
WAY_BEAM: Final = 6.0
"""How far one way to write a sentence may be behind another: what is further adds less than a 400th to the sum."""
MOST_AT_ONCE: Final = 16
"""So many beginnings of one length are followed, the likeliest: each costs the network 1 ms a piece."""
AT_LEAST: Final = 12
"""A step takes so many pieces where it can: one of a single piece takes 5 ms, each further one 0.8."""
LONGEST_TEXT: Final = 48
"""Pieces of free text; a sentence of 15 s takes about so many."""

Places = tuple[int, ...]
"""A text as the numbers of its pieces."""
Floats = np.ndarray[Any, np.dtype[np.float32]]
"""Any number of floats; each place gives the shape."""
Seen = np.ndarray[Any, np.dtype[np.bool_]]
"""For each piece so far (rows) which it follows, or is, (pieces, pieces)."""


@dataclass(frozen=True, eq=False)
class Progress:
    """What the network knows after some pieces, of whatever texts, and of the sound."""

    logs: Floats
    """Log probability of what may come next after each piece of the last step, (pieces of it, all known ones)."""
    own: tuple[Floats, ...]
    """Keys and values of all pieces so far, (1, heads, pieces, width) each."""
    sound: tuple[Floats, ...]
    """Keys and values of the sound, (1, heads, frames, width) each."""
    seen: Seen
    """Which pieces each piece follows."""
    phones: Floats
    """Log probability of no phone and of each in each frame of the sound, (frames, phones); see `phones.py`."""


class NextPieces(Protocol):
    """Says what may come next."""

    def step(self, before: Progress, after: Sequence[int], pieces: Sequence[int]) -> Progress:
        """Return what may come after each of the pieces, each said after the one at a place of all so far."""


class TooLateError(Exception):
    """The time allowed is over."""


@dataclass(frozen=True, eq=False)
class Begun:
    """What was written of its own accord, with its log likelihood, and what could have come after each piece."""

    progress: Progress
    logs: tuple[Floats, ...]
    """After the beginning and after each piece of the free text, (all pieces known)."""
    free: Places = ()
    score: float = 0.0
    asked: Mapping[Places, tuple[int, Floats]] = field(default_factory=dict)
    """Of other beginnings that it was asked about already: the place among all pieces, and what may come next."""

    @classmethod
    def of(cls, heard: Progress) -> Begun:
        """Return the beginning, nothing written yet."""
        return cls(heard, (heard.logs[0],))


@dataclass
class _Node:
    """A beginning of texts: what follows it, its place among all pieces, what may come next, its likelihood."""

    text: Places = ()
    above: _Node | None = None
    after: dict[int, _Node] = field(default_factory=dict)
    sentences: set[int] = field(default_factory=set)
    ends: set[int] = field(default_factory=set)
    place: int = 0
    logs: Floats | None = None
    score: float = 0.0

    def below(self) -> Iterator[_Node]:
        """Yield what follows it, the nearest first."""
        waiting = list(self.after.values())
        while waiting:
            node = waiting.pop(0)
            yield node
            waiting += node.after.values()


def followed(seen: Seen, after: Sequence[int]) -> Seen:
    """Return which pieces each follows when more are said, each after the one at a place; -1 for after nothing."""
    before = len(seen)
    grown = np.zeros((before + len(after),) * 2, np.bool_)
    grown[:before, :before] = seen
    for place, last in enumerate(after, start=before):
        if last >= 0:
            grown[place] = grown[last]
        grown[place, place] = True
    return grown


def written(
    network: NextPieces,
    heard: Progress,
    *,
    until: float = math.inf,
    clock: Callable[[], float] = time.monotonic,
    wanted: Callable[[], bool] = lambda: True,
) -> Begun:
    """Write what it finds likeliest, but not nothing, as it would for digits.

    Raises TooLateError when the clock passes `until`, or when it is not `wanted` any more.
    """
    begun = Begun.of(heard)
    while True:
        here = begun.logs[-1]
        piece = int(np.argmax(here if begun.free else _without_end(here)))
        score = begun.score + float(here[piece])
        if piece == END or len(begun.free) == LONGEST_TEXT:
            return replace(begun, score=score)
        if clock() > until or not wanted():
            raise TooLateError
        progress = network.step(begun.progress, [len(begun.free)], [piece])
        begun = Begun(progress, (*begun.logs, progress.logs[0]), (*begun.free, piece), score)


def scored(
    network: NextPieces,
    begun: Begun,
    sentences: Iterable[Sequence[Places]],
    *,
    way_beam: float = WAY_BEAM,
    beam: float = BEAM,
    most: int = MOST_AT_ONCE,
    until: float = math.inf,
    clock: Callable[[], float] = time.monotonic,
) -> dict[Places, float]:
    """Return the log likelihood of each text that was not given up.

    Of each sentence the ways to write it are given, each text without its end.

    Raises TooLateError when the clock passes `until`.
    """
    walk = _Walk(network, begun, (way_beam, beam, most))
    return walk.scored(sentences, lambda: clock() <= until)


def asked_ahead(
    network: NextPieces, begun: Begun, sentences: Iterable[Sequence[Places]], goes_on: Callable[[], bool]
) -> Begun:
    """Return what is known once these have been asked about, so that asking again costs nothing.

    Raises TooLateError when it is not to go on.
    """
    asked: dict[Places, tuple[int, Floats]] = {}
    walk = _Walk(network, begun, (WAY_BEAM, BEAM, MOST_AT_ONCE), asked)
    walk.scored(sentences, goes_on)
    return replace(begun, progress=walk.progress, asked={**begun.asked, **asked})


class _Walk:
    """One walk through texts that share their beginnings; `kept` takes what may come after each, 0.1 MB each."""

    def __init__(
        self,
        network: NextPieces,
        begun: Begun,
        beams: tuple[float, float, int],
        kept: dict[Places, tuple[int, Floats]] | None = None,
    ) -> None:
        self._network, self._begun, self._kept = network, begun, kept
        self._way_beam, self._beam, self._most = beams
        self.progress = begun.progress

    def scored(self, sentences: Iterable[Sequence[Places]], goes_on: Callable[[], bool]) -> dict[Places, float]:
        """Return the log likelihood of each text that was not given up."""
        level = [_tree(sentences, self._begun)]
        done: dict[int, float] = {}
        found: dict[Places, float] = {}
        while True:
            asked = _asked(level)
            if asked:
                if not goes_on():
                    raise TooLateError
                self._step(asked)
            following: list[_Node] = []
            for node in level:
                assert node.logs is not None
                if node.ends:
                    found[node.text] = score = node.score + float(node.logs[END])
                    for sentence in node.ends:
                        done[sentence] = max(done.get(sentence, -math.inf), score)
                for piece, after in node.after.items():
                    after.score = node.score + float(node.logs[piece])
                    following.append(after)
                node.logs = None
            if not following:
                return found
            scores = sorted((node.score for node in following), reverse=True)
            least = max(scores[0] - self._beam, scores[min(len(scores), self._most) - 1])
            level = [
                node
                for node in following
                if node.score >= least
                and any(node.score >= done.get(one, -math.inf) - self._way_beam for one in node.sentences)
            ]

    def _step(self, asked: Sequence[_Node]) -> None:
        before = len(self.progress.seen)
        for place, node in enumerate(asked, start=before):
            node.place = place
        after = [node.above.place for node in asked if node.above is not None]
        self.progress = self._network.step(self.progress, after, [node.text[-1] for node in asked])
        for node, logs in zip(asked, self.progress.logs, strict=True):
            node.logs = logs
            if self._kept is not None:
                self._kept[node.text] = node.place, logs


def _tree(sentences: Iterable[Sequence[Places]], begun: Begun) -> _Node:
    """Return the beginnings of texts; what is known, as along the free text, is put in."""
    root = _Node(logs=begun.logs[0])
    for number, text in ((number, text) for number, ways in enumerate(sentences) for text in ways):
        node = root
        for length, piece in enumerate(text, start=1):
            if piece not in node.after:
                node.after[piece] = _Node(text[:length], node)
                after = node.after[piece]
                if begun.free[:length] == text[:length]:
                    after.place, after.logs = length, begun.logs[length]
                elif text[:length] in begun.asked:
                    after.place, after.logs = begun.asked[text[:length]]
            node = node.after[piece]
            node.sentences.add(number)
        node.ends.add(number)
    return root


def _asked(level: Sequence[_Node]) -> list[_Node]:
    """Return what the next step is about: what is not known of the level, and of what follows what has room."""
    asked = [node for node in level if node.logs is None]
    if not asked:
        return []
    room = max(0, AT_LEAST - len(asked))
    likeliest = max(asked, key=lambda node: node.score)
    return [*asked, *islice((node for node in likeliest.below() if node.logs is None), room)]


def _without_end(logs: Floats) -> Floats:
    """Return the chances of a first piece: left alone it writes nothing for most strings of digits."""
    begun = logs.copy()
    begun[END] = -np.inf
    return begun


def summed(scores: Sequence[float]) -> float:
    """Return the log of the sum of likelihoods; minus infinity of none."""
    top = max(scores, default=-math.inf)
    return top if math.isinf(top) else top + math.log(sum(math.exp(score - top) for score in scores))
