"""How likely the general recogniser finds given texts, and what it writes of its own accord, in one go.

The texts share their beginnings: they are walked as a tree, a piece deeper at a time, each beginning once and all
of one depth together. What is far behind at its depth is given up. Its own free text grows along, a piece a step.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Protocol

import numpy as np

from handsfree.hearing.general.pieces import END

BEAM: Final = 14.0
"""How far (log) a beginning may be behind the best of its length before it is given up."""
MOST_AT_ONCE: Final = 24
"""So many beginnings of one length are followed, the likeliest: each costs the network 3 ms a piece."""
LONGEST_TEXT: Final = 48
"""Pieces of free text; a sentence of 15 s takes about so many."""

Places = tuple[int, ...]
"""A text as the numbers of its pieces."""
Floats = np.ndarray[Any, np.dtype[np.float32]]
"""Any number of floats; each place gives the shape."""


@dataclass(frozen=True, eq=False)
class Progress:
    """What the network knows after some pieces: for each of `rows` beginnings, and for the sound."""

    logs: Floats
    """Log probability of each next piece, (rows, pieces)."""
    own: tuple[Floats, ...]
    """Keys and values of the pieces so far, (rows, heads, length, width) each."""
    sound: tuple[Floats, ...]
    """Keys and values of the sound, (1, heads, frames, width) each."""
    states: Floats
    """What it made of the sound, (1, frames, width)."""


class NextPieces(Protocol):
    """Says what may come next."""

    def step(self, before: Progress, rows: Sequence[int], pieces: Sequence[int]) -> Progress:
        """Return what may come after each of the pieces, said after the prefix of its row."""


class TooLateError(Exception):
    """The time allowed is over."""


@dataclass
class _Node:
    """A beginning of texts: its log likelihood, its place in the step at hand, and what follows."""

    score: float = 0.0
    row: int = 0
    after: dict[int, _Node] = field(default_factory=dict)
    ends: bool = False


@dataclass(frozen=True)
class ScoredTexts:
    """Log likelihood of each text that was not given up, by its pieces; and the free text, with its own."""

    texts: dict[Places, float]
    free: Places
    free_score: float


class _Step:
    """The beginnings that the network goes on from at once, each listed once."""

    def __init__(self) -> None:
        self.rows: list[int] = []
        self.pieces: list[int] = []
        self._places: dict[tuple[int, int], int] = {}

    def place(self, row: int, piece: int) -> int:
        """Return where a piece after a row of the step before stands."""
        if (row, piece) not in self._places:
            self._places[row, piece] = len(self.rows)
            self.rows.append(row)
            self.pieces.append(piece)
        return self._places[row, piece]


class _Walk:
    """Walks the tree of texts, all beginnings of one length together."""

    def __init__(self, texts: Sequence[Places]) -> None:
        root = _Node()
        for text in texts:
            node = root
            for piece in text:
                node = node.after.setdefault(piece, _Node())
            node.ends = True
        self._level: list[tuple[Places, _Node]] = [((), root)]
        self.found: dict[Places, float] = {}

    def deeper(self, logs: Floats, step: _Step, beam: float, most: int) -> None:
        """Score one piece more; list what is not too far behind for the next step."""
        following: list[tuple[Places, int, _Node]] = []
        for text, node in self._level:
            if node.ends:
                self.found[text] = node.score + float(logs[node.row][END])
            for piece, after in node.after.items():
                after.score = node.score + float(logs[node.row][piece])
                following.append(((*text, piece), node.row, after))
        scores = sorted((node.score for _, _, node in following), reverse=True)
        least = max(scores[0] - beam, scores[min(len(scores), most) - 1]) if scores else 0.0
        self._level = [(text, node) for text, _, node in following if node.score >= least]
        for text, row, node in following:
            if node.score >= least:
                node.row = step.place(row, text[-1])


class _Pen:
    """Writes what the network finds likeliest, a piece a step; but not nothing, as it would for digits."""

    def __init__(self, *, writing: bool) -> None:
        self._writing, self._row = writing, 0
        self.score, self.written = 0.0, list[int]()

    def write(self, logs: Floats, step: _Step) -> None:
        """Write one piece more."""
        if not self._writing:
            return
        here = logs[self._row]
        piece = int(np.argmax(here if self.written else _without_end(here)))
        self.score += float(here[piece])
        self._writing = piece != END and len(self.written) < LONGEST_TEXT
        if self._writing:
            self.written.append(piece)
            self._row = step.place(self._row, piece)


def scored(
    network: NextPieces,
    heard: Progress,
    texts: Sequence[Places],
    *,
    free: bool = True,
    beam: float = BEAM,
    most: int = MOST_AT_ONCE,
    until: float = math.inf,
    clock: Callable[[], float] = time.monotonic,
) -> ScoredTexts:
    """Score texts, each without its end; raises TooLateError when the clock passes `until`."""
    walk, pen, progress = _Walk(texts), _Pen(writing=free), heard
    while True:
        step = _Step()
        walk.deeper(progress.logs, step, beam, most)
        pen.write(progress.logs, step)
        if not step.rows:
            return ScoredTexts(walk.found, tuple(pen.written), pen.score)
        if clock() > until:
            raise TooLateError
        progress = network.step(progress, step.rows, step.pieces)


def _without_end(logs: Floats) -> Floats:
    """Return the chances of a first piece: left alone it writes nothing for most strings of digits."""
    begun = logs.copy()
    begun[END] = -np.inf
    return begun


def summed(scores: Sequence[float]) -> float:
    """Return the log of the sum of likelihoods; minus infinity of none."""
    top = max(scores, default=-math.inf)
    return top if math.isinf(top) else top + math.log(sum(math.exp(score - top) for score in scores))
