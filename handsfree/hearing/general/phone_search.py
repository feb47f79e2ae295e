"""The sentences of a grammar whose phones fit best, looked for in all of it: our own list is short.

Each word that leads to a state of the automaton is one chain of its phones, whatever comes before. All chains go
through each frame together; a way that goes on in a chain, or enters one, keeps only its likelihood and the frame
in which it entered, so that the words are read off backwards at the end (A. Viterbi, 1967).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from handsfree.hearing.general.phones import numbers, pressed
from handsfree.hearing.general.scoring import Floats
from handsfree.hearing.graph import UNKNOWN
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.pronunciation import Pronunciations

MOST_PHONES: Final = 20_000
"""A grammar of more is not looked through: it takes too long."""
MOST_FOUND: Final = 5
"""So many sentences are returned."""
NEAR: Final = 8.0
"""How far (log) behind the best they may be."""

_NEVER: Final = np.float32(-1e30)
Places = np.ndarray[Any, np.dtype[np.int64]]
_Kept = tuple[Places, Places, Places, bool]
"""Of a frame: which chain ended best at each state, from which state each chain is entered best, since when each
place has been within its chain, and whether nothing said yet is likeliest where sentences begin."""


class PhoneSearch:
    """A grammar made ready to be looked through: about 1 ms for each of its 100 arcs, once."""

    def __init__(self, grammar: WordAutomaton, pronunciations: Pronunciations) -> None:
        sources: dict[tuple[str, int], list[int]] = defaultdict(list)
        for source, word, target in grammar.arcs:
            if word != UNKNOWN:
                sources[word, target].append(source)
        self._words: list[str] = []
        labels: list[int] = []
        heads: list[int] = []
        entered_from: list[list[int]] = []
        ends_at: dict[int, list[int]] = defaultdict(list)
        for (word, target), before in sources.items():
            for phones in pronunciations.of(word):
                heads.append(len(labels))
                entered_from.append(before)
                labels += numbers(phones)
                self._words += [word] * len(phones)
                ends_at[target].append(len(labels) - 1)
        self.size = len(labels)
        self._labels, self._heads = np.array(labels, np.int64), np.array(heads, np.int64)
        states = 1 + max((max(source, target) for source, _, target in grammar.arcs), default=0)
        self._ends = _padded([ends_at[state] for state in range(states)], self.size)
        self._sources = _padded(entered_from, states)
        self._finals = sorted(grammar.finals)

    def best(self, logs: Floats) -> tuple[tuple[str, ...], ...]:
        """Return the sentences whose phones are likeliest, of (frames, phones); none where nothing can be said.

        The first is the likeliest of all; the others are so of those that end by another word.
        """
        if not 0 < self.size <= MOST_PHONES or not len(logs):
            return ()
        logs = pressed(logs)
        said = np.full(self.size + 1, _NEVER)  # the last place stands for no chain
        after = said.copy()
        entered = np.zeros((2, self.size), np.int64)
        kept: list[_Kept] = []
        silent = np.float32(0)  # nothing said yet
        following = np.ones(self.size, np.bool_)
        following[self._heads] = False
        for frame, log in enumerate(logs):
            out = np.maximum(said, after)
            whence = np.where(said[:-1] >= after[:-1], entered[0], entered[1])
            ended = out[self._ends]
            which = ended.argmax(axis=1)
            arrived = np.append(np.take_along_axis(ended, which[:, None], 1)[:, 0], _NEVER)
            fresh = bool(silent >= arrived[0])
            arrived[0] = max(arrived[0], silent)
            begun = arrived[self._sources]
            came = begun.argmax(axis=1)
            kept.append((which, came, whence, fresh))
            moved, since = np.full(self.size, _NEVER), np.zeros(self.size, np.int64)
            moved[1:], since[1:] = out[:-2], whence[:-1]
            moved[~following] = np.take_along_axis(begun, came[:, None], 1)[:, 0]
            since[~following] = frame
            stays = said[:-1] >= moved
            after[:-1] = np.maximum(after[:-1], said[:-1]) + log[0]
            entered[1] = whence
            entered[0] = np.where(stays, entered[0], since)
            said[:-1] = np.where(stays, said[:-1], moved) + log[self._labels]
            silent = silent + log[0]
        out, whence = np.maximum(said, after), np.where(said[:-1] >= after[:-1], entered[0], entered[1])
        ends = self._ends[self._finals].ravel()
        ranked = ends[np.argsort(-out[ends], kind="stable")][:MOST_FOUND]
        near = [int(end) for end in ranked if out[end] >= max(out[ranked[0]] - NEAR, _NEVER / 2)]
        return tuple(dict.fromkeys(self._read(end, whence, kept) for end in near))

    def _read(self, end: int, whence: Places, kept: Sequence[_Kept]) -> tuple[str, ...]:
        """Return the words of the likeliest way to an end of a chain, read from there."""
        words: list[str] = []
        while True:
            words.append(self._words[end])
            frame = int(whence[end])
            head = int(np.searchsorted(self._heads, end, side="right")) - 1
            which, came, whence, fresh = kept[frame]
            state = int(self._sources[head, came[head]])
            if state == 0 and fresh:
                return tuple(reversed(words))
            end = int(self._ends[state, which[state]])


def _padded(rows: Sequence[Sequence[int]], filler: int) -> Places:
    """Return rows of different length as one array, (rows, longest)."""
    longest = max([1, *map(len, rows)])
    return np.array([[*row, *[filler] * (longest - len(row))] for row in rows], np.int64)
