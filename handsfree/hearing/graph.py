"""The grammar of the moment as a decoding graph, written straight from a word automaton.

Each word arc becomes its chains of phones; between words and at both ends there may be silence; beside all
sentences of the grammar stand pure silence and the filler, a loop over all phones that is heard as
`[unk]`. Nothing is determinised or composed, so a graph takes milliseconds and no training: a new word
needs only a pronunciation.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from handsfree.hearing.transducer import Transducer
from handsfree.hearing.units import UnitLabels, Units
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.pronunciation import Phones, Pronunciations

UNKNOWN: Final = "[unk]"
"""What is heard when it was speech, but none of the grammar's sentences."""

_SILENCE_COST: Final = math.log(2)


@dataclass(frozen=True)
class Tuning:
    """Costs (natural logs) that belong to one acoustic model; its `conf/listening.json` holds them.

    `unknown_phone_cost` is paid for each phone of the filler, `unknown_cost` once for taking the filler,
    `word_cost` for each word of a sentence. The others are those of `alternatives.ScoreCalibration`.
    """

    unknown_phone_cost: float
    unknown_cost: float
    word_cost: float
    score_scale: float = 1.0
    base: float = 0.0
    steepness: float = 0.0
    members: tuple[tuple[str, int], ...] = (("final.mdl", 16_000),)
    """Who hears each utterance: a network in `am/`, and at how many samples a second it takes the sound to be.

    Told a higher rate than the true one, a network hears a quicker and higher voice, and another voice is another
    chance: see `hearing.ensemble`.
    """

    @classmethod
    def of_model(cls, folder: Path) -> Tuning:
        """Read the tuning of one of our own models."""
        settings = json.loads((folder / "conf" / "listening.json").read_text(encoding="utf-8"))
        members = settings.pop("opinions", None)  # so called in models before; their digests stand in records
        tuning = cls(**settings)
        return tuning if members is None else replace(tuning, members=tuple((net, hz) for net, hz in members))


@dataclass(frozen=True)
class WordNumbers:
    """Output labels: 0 is nothing, then the words in order, last `[unk]`."""

    words: tuple[str, ...]

    def table(self) -> Mapping[str, int]:
        """Return the number of each word."""
        return {word: number for number, word in enumerate((*self.words, UNKNOWN), 1)}

    def text(self) -> str:
        """Return the content of `graph/words.txt`."""
        return "<eps> 0\n" + "".join(f"{word} {number}\n" for word, number in self.table().items())


def strict_graph(
    automaton: WordAutomaton, pronunciations: Pronunciations, units: Units, tuning: Tuning
) -> tuple[Transducer, WordNumbers]:
    """Return the graph that reads sound units and writes exactly the sentences of the automaton.

    Where the automaton itself has `[unk]`, free talk stands there. Raises `Problem` naming every word
    without a pronunciation.
    """
    words = automaton.words() - {UNKNOWN}
    pronunciations.require(words)
    numbers = WordNumbers(tuple(sorted(words)))
    number = numbers.table()
    graph = Transducer()
    start = graph.state()
    builder = _Builder(graph, units)
    opening = builder.silence(start, final=0.0)
    builder.filler(opening, graph.state(final=0.0), number[UNKNOWN], tuning)

    size = 1 + max((max(source, target) for source, _, target in automaton.arcs), default=0)
    departures = [opening] + [graph.state() for _ in range(size - 1)]
    arrivals = [builder.arrival(departures[node], final=node in automaton.finals) for node in range(size)]
    heads: dict[tuple[str, int], list[tuple[int, int]]] = {}
    for source, word, target in automaton.arcs:
        if word == UNKNOWN:  # free talk after a phrase: a reason, a note
            builder.filler(departures[source], arrivals[target], number[UNKNOWN], tuning)
            continue
        if (word, target) not in heads:
            heads[word, target] = [builder.chain(phones, arrivals[target]) for phones in pronunciations.of(word)]
        for enter, state in heads[word, target]:
            graph.arc(departures[source], state, read=enter, write=number[word], cost=tuning.word_cost)
    return graph, numbers


def loop_graph(
    words: Sequence[str], pronunciations: Pronunciations, units: Units, tuning: Tuning
) -> tuple[Transducer, Transducer, WordNumbers]:
    """Return the graphs for phrase lists given at run time: the lexicon loop, and an even choice of words.

    The loop writes any word, or `[unk]`, any number of times; the recogniser composes it with the
    language model that it makes of a phrase list. Raises `Problem` as `strict_graph` does.
    """
    pronunciations.require(words)
    numbers = WordNumbers(tuple(sorted(set(words))))
    number = numbers.table()
    loop = Transducer()
    start = loop.state()
    builder = _Builder(loop, units)
    departure = builder.silence(start)
    arrival = builder.arrival(departure, final=True)
    for word in numbers.words:
        for phones in pronunciations.of(word):
            enter, state = builder.chain(phones, arrival)
            loop.arc(departure, state, read=enter, write=number[word], cost=tuning.word_cost)
    builder.filler(departure, arrival, number[UNKNOWN], tuning)
    choice = Transducer()
    choice.state(final=0.0)
    for label in number.values():
        choice.arc(0, 0, read=label, write=label, cost=math.log(len(number)))
    return loop, choice, numbers


class _Builder:
    """Adds the recurring pieces to a graph."""

    def __init__(self, graph: Transducer, units: Units) -> None:
        self._graph, self._units = graph, units
        self._moves = {
            (phone, at): units.phone(phone, at) for phone in units.phones for at in ("B", "I", "E", "S")
        }

    def _staying(self, move: UnitLabels, final: float | None = None) -> int:
        state = self._graph.state(final)
        self._graph.arc(state, state, read=move.stay)
        return state

    def silence(self, source: int, final: float | None = None, target: int | None = None) -> int:
        """Lead from the source to the target through silence or straight; return the target."""
        silence = self._staying(self._units.silence, final)
        target = self._graph.state() if target is None else target
        self._graph.arc(source, silence, read=self._units.silence.enter, cost=_SILENCE_COST)
        self._graph.arc(silence, target)
        self._graph.arc(source, target, cost=_SILENCE_COST)
        return target

    def arrival(self, departure: int, *, final: bool) -> int:
        """Return the state where a word ends: from here to the departure of the next, or to the end."""
        arrival = self._graph.state(_SILENCE_COST if final else None)
        self.silence(arrival, 0.0 if final else None, departure)
        return arrival

    def chain(self, phones: Phones, arrival: int) -> tuple[int, int]:
        """Add a word's phones up to its arrival; return the label that enters it and the first state."""
        positions = "S" if len(phones) == 1 else "B" + "I" * (len(phones) - 2) + "E"
        moves = [self._moves[step] for step in zip(phones, positions, strict=True)]
        first = state = self._staying(moves[0])
        for move in moves[1:]:
            following = self._staying(move)
            self._graph.arc(state, following, read=move.enter)
            state = following
        self._graph.arc(state, arrival)
        return moves[0].enter, first

    def filler(self, departure: int, arrival: int, label: int, tuning: Tuning) -> None:
        """Add `[unk]`: one word of one phone or more, whichever they are."""
        graph, cost = self._graph, tuning.unknown_phone_cost
        inside, end = graph.state(), graph.state()
        graph.arc(end, arrival)
        for phone in self._units.phones:
            begin, middle, last, alone = (self._units.filler(phone, at) for at in ("B", "I", "E", "S"))
            for move, source, target in ((middle, inside, inside), (last, inside, end)):
                state = self._staying(move)
                graph.arc(source, state, read=move.enter, cost=cost)
                graph.arc(state, target)
            for move, target in ((begin, inside), (alone, end)):
                state = self._staying(move)
                graph.arc(departure, state, read=move.enter, write=label, cost=cost + tuning.unknown_cost)
                graph.arc(state, target)
