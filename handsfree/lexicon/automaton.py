"""Which word may follow which: a small deterministic automaton over whole words.

It is the seam between meaning and sound. The session builds one for the gate at hand, the recogniser
turns it into a decoding graph, and the authors' proofs ask it which phrases are accepted together.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from functools import cached_property

Arc = tuple[int, str, int]


@dataclass(frozen=True)
class WordAutomaton:
    """A deterministic, minimal automaton; state 0 is the start and arcs are (from, word, to), sorted."""

    arcs: tuple[Arc, ...]
    finals: frozenset[int]

    @cached_property
    def _next(self) -> dict[int, dict[str, int]]:
        table: dict[int, dict[str, int]] = {}
        for source, word, target in self.arcs:
            table.setdefault(source, {})[word] = target
        return table

    @cached_property
    def identity(self) -> str:
        """A short name that is the same for the same language: it stands in the record as the grammar's id."""
        text = repr((self.arcs, sorted(self.finals)))
        return hashlib.sha256(text.encode()).hexdigest()[:12]

    def words(self) -> frozenset[str]:
        """Return every word that occurs."""
        return frozenset(word for _, word, _ in self.arcs)

    def state_after(self, words: Iterable[str]) -> int | None:
        """Return the state reached by the words, or None when they leave the language."""
        state: int | None = 0
        for word in words:
            state = self._next.get(state, {}).get(word) if state is not None else None
        return state

    def accepts(self, words: Iterable[str]) -> bool:
        """Say whether the words are a whole sentence of the language."""
        return self.state_after(words) in self.finals

    def complete(self, words: Iterable[str]) -> bool:
        """Say whether the words are a sentence that no further word could lengthen."""
        state = self.state_after(words)
        return state in self.finals and not self._next.get(state or 0)

    def nearly_complete(self, words: Iterable[str]) -> bool:
        """Say whether one word more may make a sentence that no further word could lengthen."""
        following = self._next.get(state, {}) if (state := self.state_after(words)) is not None else {}
        return any(target in self.finals and not self._next.get(target) for target in following.values())

    def spelled_on(self) -> frozenset[int]:
        """Return the states within a spelled name: a letter leads there, and letters alone lead on."""
        within = {target for _, word, target in self.arcs if len(word) == 1}
        return frozenset(
            state for state in within if (after := self._next.get(state)) and all(len(word) == 1 for word in after)
        )

    def pairs(self) -> frozenset[tuple[str, str]]:
        """Return the pairs of words that may stand next to each other."""
        return frozenset((word, after) for _, word, target in self.arcs for after in self._next.get(target, {}))

    def sentences(self, longest: int) -> Iterator[tuple[str, ...]]:
        """Yield the sentences of at most `longest` words, shortest first within each branch."""
        stack: list[tuple[int, tuple[str, ...]]] = [(0, ())]
        while stack:
            state, so_far = stack.pop()
            if state in self.finals and so_far:
                yield so_far
            if len(so_far) < longest:
                stack.extend((target, (*so_far, word)) for word, target in self._next.get(state, {}).items())


class Pattern:
    """A language under construction; combine patterns with the functions below, then call `automaton`."""

    def __init__(self, arcs: list[tuple[int, str | None, int]], start: int, end: int, size: int) -> None:
        self._arcs, self._start, self._end, self._size = arcs, start, end, size

    def _shifted(self, offset: int) -> list[tuple[int, str | None, int]]:
        return [(a + offset, word, b + offset) for a, word, b in self._arcs]

    def automaton(self) -> WordAutomaton:
        """Determinise and minimise; the result depends only on the language, not on how it was built."""
        return _minimal(*_deterministic(self._arcs, self._start, self._end))


def phrase(text: str) -> Pattern:
    """Return the pattern of exactly these words, in order; the empty text matches nothing said."""
    words = text.split()
    return Pattern([(i, word, i + 1) for i, word in enumerate(words)], 0, len(words), len(words) + 1)


def sequence(*parts: Pattern) -> Pattern:
    """Return one part after the other."""
    arcs: list[tuple[int, str | None, int]] = []
    size, end, start = 0, -1, 0
    for part in parts:
        shifted = part._shifted(size)  # noqa: SLF001 - the combinators and Pattern are one piece
        if end < 0:
            start = part._start + size  # noqa: SLF001
        else:
            arcs.append((end, None, part._start + size))  # noqa: SLF001
        arcs += shifted
        end, size = part._end + size, size + part._size  # noqa: SLF001
    return Pattern(arcs, start, end, size) if parts else phrase("")


def choice(*parts: Pattern) -> Pattern:
    """Return any one of the parts."""
    arcs: list[tuple[int, str | None, int]] = []
    size = 2
    for part in parts:
        arcs.append((0, None, part._start + size))  # noqa: SLF001
        arcs += part._shifted(size)  # noqa: SLF001
        arcs.append((part._end + size, None, 1))  # noqa: SLF001
        size += part._size  # noqa: SLF001
    return Pattern(arcs, 0, 1, size)


def optional(part: Pattern) -> Pattern:
    """Return the part or nothing."""
    return choice(part, phrase(""))


def repeated(part: Pattern) -> Pattern:
    """Return the part once or more."""
    arcs = part._shifted(0)  # noqa: SLF001
    return Pattern([*arcs, (part._end, None, part._start)], part._start, part._end, part._size)  # noqa: SLF001


def exactly(automaton: WordAutomaton) -> Pattern:
    """Return the pattern of an automaton, for building larger languages out of finished ones."""
    size = 1 + max((max(a, b) for a, _, b in automaton.arcs), default=0)
    arcs: list[tuple[int, str | None, int]] = list(automaton.arcs)
    arcs += [(final, None, size) for final in automaton.finals]
    return Pattern(arcs, 0, size, size + 1)


def phrases(texts: Iterable[str]) -> Pattern:
    """Return any one of the texts."""
    return choice(*(phrase(text) for text in texts))


class _Silent:
    """Where one is without saying a word: of the states reached, those that a word leaves, or that end."""

    def __init__(self, steps: dict[int, list[int]], kept: AbstractSet[int]) -> None:
        self._steps, self._kept = steps, kept
        self._from: dict[int, frozenset[int]] = {}

    def reached(self, states: Collection[int]) -> frozenset[int]:
        """Return what is reached from any of the states."""
        if len(states) == 1:
            (state,) = states
            return self._of(state)
        return frozenset().union(*(self._of(state) for state in states))

    def _of(self, state: int) -> frozenset[int]:
        if state not in self._from:
            seen, stack = {state}, [state]
            while stack:
                new = [target for target in self._steps.get(stack.pop(), ()) if target not in seen]
                seen.update(new)
                stack += new
            self._from[state] = frozenset(seen & self._kept)
        return self._from[state]


def _deterministic(
    arcs: Sequence[tuple[int, str | None, int]], start: int, end: int
) -> tuple[list[dict[str, int]], set[int]]:
    """Return for each state word -> state, the words in order, and the states that end."""
    steps: dict[int, list[int]] = {}
    spoken: dict[int, list[tuple[str, int]]] = {}
    for source, word, target in arcs:
        if word is None:
            steps.setdefault(source, []).append(target)
        else:
            spoken.setdefault(source, []).append((word, target))
    silent = _Silent(steps, {*spoken, end})
    first = silent.reached([start])
    index, queue, finals = {first: 0}, [first], set()
    table: list[dict[str, int]] = []
    while len(table) < len(queue):
        subset = queue[len(table)]
        if end in subset:
            finals.add(len(table))
        moves: dict[str, set[int]] = {}
        for state in subset:
            for word, target in spoken.get(state, ()):
                moves.setdefault(word, set()).add(target)
        row = {}
        for word in sorted(moves):
            target_set = silent.reached(moves[word])
            if target_set not in index:
                index[target_set] = len(queue)
                queue.append(target_set)
            row[word] = index[target_set]
        table.append(row)
    return table, finals


def _minimal(table: list[dict[str, int]], finals: set[int]) -> WordAutomaton:
    """Merge states with the same future (Moore's partition refinement) and number them breadth first."""
    block = [int(state in finals) for state in range(len(table))]
    while True:
        keys = [(block[s], tuple((w, block[t]) for w, t in row.items())) for s, row in enumerate(table)]
        names = {key: number for number, key in enumerate(dict.fromkeys(keys))}
        refined = [names[key] for key in keys]
        if len(names) == len(set(block)):
            break
        block = refined
    number, queue, arcs = {block[0]: 0}, [0], []
    representative = {b: s for s, b in reversed(list(enumerate(block)))}
    while queue:
        state = queue.pop(0)
        for word, target in table[state].items():
            b = block[target]
            if b not in number:
                number[b] = len(number)
                queue.append(representative[b])
            arcs.append((number[block[state]], word, number[b]))
    return WordAutomaton(tuple(sorted(arcs)), frozenset(number[block[s]] for s in finals if block[s] in number))
