"""The third opinion on one utterance: what the general recogniser thinks of what ours has heard."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import partial
from itertools import islice
from typing import Final

import numpy as np

from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.freed_memory import give_back_memory
from handsfree.hearing.general import phones
from handsfree.hearing.general.ahead import Ahead, Listened, SpeechNetwork, listened
from handsfree.hearing.general.phone_search import PhoneSearch
from handsfree.hearing.general.pieces import Pieces
from handsfree.hearing.general.reading import Readings
from handsfree.hearing.general.scoring import (
    BEAM,
    MOST_AT_ONCE,
    WAY_BEAM,
    Begun,
    Floats,
    Places,
    TooLateError,
    scored,
    summed,
)
from handsfree.hearing.general.spellings import Spellings, pauses_of
from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.resampling import RATE, Samples
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.numbers import Numbers
from handsfree.lexicon.pronunciation import Pronunciations

BUDGET_S: Final = 0.6
"""After so long the visit goes on without it."""
TALK_BUDGET_S: Final = 1.5
"""Free words take longer to write, and no answer waits; the process that hears counts as hung after 3."""
LATE_IN_A_ROW: Final = 3
"""So often too late, and it is asked no more: the machine is too slow, and each time costs the whole budget."""
CRY_BUDGET_S: Final = 0.4
"""A short stop phrase acts without it then."""
MOST_LISTED: Final = 10
"""Of our own list; what is further behind was never right."""
MOST_PHRASES: Final = 300
"""A question with at most so many sentences is closed: any that fits is asked about, whatever we have heard."""
LONGEST_PHRASE: Final = 9
NOT_LISTED: Final = Decimal(-10)
"""Our own score of what our list does not hold; it reaches about 8 below the best."""
NEAR: Final = 8.0
"""How far (log) behind its best a sentence that we did not list may be to be looked at."""
MOST_FURTHER: Final = 6
MOST_FITTING: Final = 6
"""So many sentences of a closed question are asked about since their phones fit."""
NOTHING_GIVEN_UP: Final = (math.inf, math.inf, 999)
"""Beams, and how many beginnings are followed at once."""
BEFORE_A_WORD_MS: Final = 100
"""So much before a word may belong to it."""
LEAST_NOISE_S: Final = 0.2
"""Noise shorter than this says nothing of the noise of the moment."""
MOST_SEARCHES: Final = 8
"""So many grammars are kept ready to be looked through: about 1 MB each."""

_STEP: Final = Decimal("0.001")
Words = tuple[str, ...]


@dataclass(frozen=True)
class GeneralJudgement:
    """What it wrote of its own accord, with its log likelihood; `late` when the time allowed was over before.

    `left_out` when it was late so often that it is asked no more.
    """

    member: str
    text: str = ""
    likelihood: Decimal | None = None
    late: bool = False
    left_out: bool = False
    stop_alone: bool = False
    """It was asked about the short stop phrase that led, and about nothing else."""
    phones: Decimal | None = None
    """Log likelihood of the likeliest phones by the phone network, whatever they are."""
    phone_network: str = ""
    """Which weights of the phone network were asked; empty where none were."""
    habit: Decimal | None = None
    """Log likelihood of what it wrote on the noise alone, where it was asked about that."""


class GeneralScorer:
    """Asks the network; `cries` are short phrases that it is always asked about; longer `orders` do not wait."""

    def __init__(
        self,
        network: SpeechNetwork,
        pieces: Pieces,
        numbers: Numbers,
        member: str,
        cries: Iterable[Words] = (),
        *,
        orders: Iterable[Words] = (),
        pronunciations: Pronunciations | None = None,
        budget_s: float = BUDGET_S,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._network, self._pieces, self._member, self._cries = network, pieces, member, tuple(cries)
        self._orders = frozenset(orders)
        self._spellings, self._readings = Spellings(numbers), Readings(numbers)
        self._pronunciations = pronunciations or Pronunciations()
        self._budget_s, self._cry_budget_s, self._clock = budget_s, min(budget_s, CRY_BUDGET_S), clock
        self._phrases: tuple[str, tuple[Words, ...]] = ("", ())
        self._searches: dict[str, PhoneSearch] = {}
        self._worker = ThreadPoolExecutor(1, "listening ahead")
        self._late = 0

    def patient(self) -> None:
        """Take all the time it needs, for benches."""
        self._budget_s = self._cry_budget_s = math.inf

    def take_up(self, pronunciations: Pronunciations) -> None:
        """Say words from now on as a procedure spells them."""
        self._pronunciations = pronunciations
        self._searches.clear()

    def ahead(self, samples: Samples, grammar: WordAutomaton, noise: Samples) -> Ahead | None:
        """Begin to listen to an utterance that may have ended; give what is returned to `weigh` if it has."""
        if self._late >= LATE_IN_A_ROW:
            return None
        asked = self._asked_of(noise, grammar), self._look(grammar), self._texts
        return Ahead(self._worker, partial(listened, self._network, samples, *asked))

    def weigh(
        self,
        samples: Samples,
        heard: tuple[Hypothesis, ...],
        grammar: WordAutomaton,
        noise: Samples,
        ahead: Ahead | None = None,
    ) -> tuple[tuple[Hypothesis, ...], GeneralJudgement | None]:
        """Return the alternatives with its word on each, and those that it adds; and what it wrote itself.

        `noise` is what was heard before the utterance; none of it leaves habits out. `ahead` has listened to the
        same but for silence at its end. A longer stop or hazard phrase that was heard is not held back: nothing
        could take it away. About a short one it is asked alone.
        """
        order = bool(heard) and heard[0].text in self._orders
        cry = order and heard[0].text in self._cries
        if self._late >= LATE_IN_A_ROW or (order and not cry):
            return heard, None
        talk = bool(heard) and UNKNOWN in heard[0].text and grammar.accepts(heard[0].text)
        budget_s = self._cry_budget_s if cry else self._budget_s
        until = self._clock() + (max(budget_s, TALK_BUDGET_S) if talk else budget_s)
        try:
            if ahead is None:
                alone = self._asked_of(noise, grammar)
                look = () if cry else (self._look(grammar), self._texts)
                taken = listened(self._network, samples, alone, *look, until=until, clock=self._clock)
            else:
                taken = ahead.result(until - self._clock())
            if not cry and taken.noise is None and self._closed(grammar):
                taken = replace(taken, noise=self._noise_within(samples, heard))
            weighed = self._about_cry(taken, heard, until) if cry else self._weighed(taken, heard, grammar, until)
        except TooLateError:
            if cry:
                return heard, None
            self._late += not talk  # a long note says nothing of the next answer
            return heard, GeneralJudgement(self._member, late=True, left_out=self._late >= LATE_IN_A_ROW)
        finally:
            self._worker.submit(give_back_memory)  # aside, so that no answer waits
        self._late = 0
        return weighed

    def _about_cry(
        self, taken: Listened, heard: tuple[Hypothesis, ...], until: float
    ) -> tuple[tuple[Hypothesis, ...], GeneralJudgement]:
        """Return the alternatives with its word on the cry that leads."""
        written = self._written([heard[0].text], {})
        found = scored(self._network, taken.begun, written.values(), until=until, clock=self._clock)
        found[taken.begun.free] = taken.begun.score
        judgement = self._judgement(taken.begun, stop_alone=True)
        weighed = _with(heard, _by_words(written, found), {})
        return tuple(self._with_phones(weighed, taken.begun)), judgement

    def _weighed(
        self, taken: Listened, heard: tuple[Hypothesis, ...], grammar: WordAutomaton, until: float
    ) -> tuple[tuple[Hypothesis, ...], GeneralJudgement]:
        listed = [one for one in heard if UNKNOWN not in one.text][:MOST_LISTED]
        pauses = {one.text: pauses_of((word.start_ms, word.end_ms) for word in one.words) for one in listed}
        cries = [cry for cry in self._cries if grammar.accepts(cry)]
        begun, fits = taken.begun, taken.fits if heard else ()  # in silence nothing fits
        written = self._written(dict.fromkeys([*pauses, *cries, *fits]), pauses)
        beam = (WAY_BEAM, BEAM, MOST_AT_ONCE) if taken.noise is None else NOTHING_GIVEN_UP
        found = self._scored(begun, written.values(), until, beam)
        for words in self._readings.of(self._pieces.text(begun.free), grammar):
            written[words] = written.get(words) or [begun.free]
            if begun.free not in written[words]:
                written[words].append(begun.free)
        found[begun.free] = begun.score
        likely = _by_words(written, found)
        habits, own = self._habits(found, written, taken.noise, begun.free, until)
        weighed = [*_with(heard, likely, habits), *_further(heard, likely, habits, begun.score, fits)]
        return tuple(self._with_phones(weighed, begun)), self._judgement(begun, habit=own)

    def _scored(
        self, begun: Begun, sentences: Iterable[Sequence[Places]], until: float, beam: tuple[float, float, int]
    ) -> dict[Places, float]:
        way_beam, behind, most = beam
        return scored(
            self._network, begun, sentences, way_beam=way_beam, beam=behind, most=most, until=until,
            clock=self._clock,
        )  # fmt: skip

    def _look(self, grammar: WordAutomaton) -> Callable[[Floats], tuple[Words, ...]]:
        return partial(self._fits, self._looked_through(grammar), self._closed(grammar))

    def _fits(self, search: PhoneSearch, closed: Sequence[Words], logs: Floats) -> tuple[Words, ...]:
        """Return the sentences whose phones fit best: of the whole grammar, and of a closed question.

        There each phone of a sentence counts alike: all together those of a long one fit worse than those of a
        short one, whatever was said. With them those that nobody told how to say.
        """
        said = [phones.ways(words, self._pronunciations) for words in closed]
        fit = zip(phones.likelihoods(logs, said), said, closed, strict=True)
        ranked = sorted((-likelihood / len(ways[0]), words) for likelihood, ways, words in fit if ways)
        near = [words for _, words in ranked[:MOST_FITTING]]
        unknown = [words for words, ways in zip(closed, said, strict=True) if not ways]
        return tuple(dict.fromkeys([*search.best(logs), *near, *unknown]))

    def _texts(self, sentences: Iterable[Words]) -> Iterable[Sequence[Places]]:
        """Return how each may be written, as far as nobody told pauses."""
        return self._written(sentences, {}).values()

    def _habits(
        self,
        found: Mapping[Places, float],
        written: Mapping[Words, list[Places]],
        noise: Begun | None,
        free: Places,
        until: float,
    ) -> tuple[dict[Words, float], float | None]:
        """Return what it says of each sentence, as it would write it, and of the free text, on noise alone.

        In loud noise alone it expects short phrases; what it says of a phrase counts only beyond that.
        """
        if noise is None:
            return {}, None
        ways = {
            words: max((way for way in ways if way in found), key=found.__getitem__)
            for words, ways in written.items()
            if any(way in found for way in ways)
        }
        alone = self._scored(noise, [[way] for way in {*ways.values(), free}], until, NOTHING_GIVEN_UP)
        return {words: alone[way] for words, way in ways.items()}, alone[free]

    def _noise_within(self, samples: Samples, heard: tuple[Hypothesis, ...]) -> Begun | None:
        """Listen to the noise in an utterance before its first word; None where that is short."""
        listed = [one for one in heard if UNKNOWN not in one.text] or heard
        ends = (listed[0].words[0].start_ms - BEFORE_A_WORD_MS) * RATE // 1000 if listed else 0
        if ends < LEAST_NOISE_S * RATE:
            return None
        return Begun.of(self._network.listen(np.resize(samples[:ends], len(samples))))

    def _judgement(
        self, begun: Begun, *, stop_alone: bool = False, habit: float | None = None
    ) -> GeneralJudgement:
        return GeneralJudgement(
            self._member,
            self._pieces.text(begun.free),
            _decimal(begun.score),
            stop_alone=stop_alone,
            phones=_decimal(phones.anything(begun.progress.phones)),
            phone_network=phones.identity(),
            habit=_decimal(habit),
        )

    def _with_phones(self, weighed: Sequence[Hypothesis], begun: Begun) -> Iterator[Hypothesis]:
        """Yield each alternative with the likelihood of its phones."""
        said = [() if UNKNOWN in one.text else phones.ways(one.text, self._pronunciations) for one in weighed]
        for one, likelihood in zip(weighed, phones.likelihoods(begun.progress.phones, said), strict=True):
            yield one if math.isinf(likelihood) else replace(one, phones=_decimal(likelihood))

    def _asked_of(self, noise: Samples, grammar: WordAutomaton) -> Samples | None:
        """Return the noise that it is asked about, too: at a closed question, where there was enough of it."""
        return noise if self._closed(grammar) and len(noise) >= LEAST_NOISE_S * RATE else None

    def _looked_through(self, grammar: WordAutomaton) -> PhoneSearch:
        if grammar.identity not in self._searches:
            self._searches[grammar.identity] = PhoneSearch(grammar, self._pronunciations)
            if len(self._searches) > MOST_SEARCHES:
                del self._searches[next(iter(self._searches))]
        return self._searches[grammar.identity]

    def _closed(self, grammar: WordAutomaton) -> tuple[Words, ...]:
        """Return every sentence of a closed question; nothing where there are too many."""
        if grammar.identity != self._phrases[0]:
            sentences = list(islice(grammar.sentences(LONGEST_PHRASE), MOST_PHRASES + 1))
            few = len(sentences) <= MOST_PHRASES
            whole = [one for one in sentences if UNKNOWN not in one] if few else []
            self._phrases = (grammar.identity, tuple(whole))
        return self._phrases[1]

    def _written(
        self, sentences: Iterable[Words], pauses: Mapping[Words, frozenset[int]]
    ) -> dict[Words, list[Places]]:
        return {
            words: [self._pieces.of(text) for text in self._spellings.of(words, pauses.get(words, frozenset()))]
            for words in sentences
        }


def _by_words(written: Mapping[Words, list[Places]], found: Mapping[Places, float]) -> dict[Words, float]:
    """Return the likelihood of each sentence, however it is written; those that were given up are left out."""
    sums = {words: summed([found[way] for way in set(ways) if way in found]) for words, ways in written.items()}
    return {words: score for words, score in sums.items() if not math.isinf(score)}


def _with(
    heard: Sequence[Hypothesis], likely: Mapping[Words, float], habits: Mapping[Words, float]
) -> list[Hypothesis]:
    return [
        replace(one, general=_decimal(likely.get(one.text)), habit=_decimal(habits.get(one.text))) for one in heard
    ]


def _further(
    heard: Sequence[Hypothesis],
    likely: Mapping[Words, float],
    habits: Mapping[Words, float],
    free: float,
    fits: Sequence[Words],
) -> list[Hypothesis]:
    """Return what our own list lacks: what it finds likely, the likeliest first; sentences whose phones fit.

    The words share the whole time.
    """
    known = {one.text for one in heard}
    best = max([free, *likely.values()])
    ranked = sorted((-score, words) for words, score in likely.items() if words not in known)
    near = [words for score, words in ranked if -score >= best - NEAR][:MOST_FURTHER]
    near += [words for words in fits if words not in {*known, *near}]
    begin = min((one.words[0].start_ms for one in heard), default=0)
    end = max((one.words[-1].end_ms for one in heard), default=0)
    return [
        Hypothesis(_spread(words, begin, end), NOT_LISTED, *(_decimal(of.get(words)) for of in (likely, habits)))
        for words in near
    ]


def _spread(words: Words, begin: int, end: int) -> tuple[SpokenWord, ...]:
    edges = [begin + (end - begin) * place // len(words) for place in range(len(words) + 1)]
    return tuple(
        SpokenWord(word, start, stop, Decimal(0))
        for word, start, stop in zip(words, edges, edges[1:], strict=False)
    )


def _decimal(value: float | None) -> Decimal | None:
    return None if value is None else Decimal(repr(round(value, 3))).quantize(_STEP)
