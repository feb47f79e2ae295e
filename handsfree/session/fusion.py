"""Choosing one meaning from what was heard: the recogniser's alternatives, the grammar, and physics.

The recogniser's score alone is not trusted. Every meaning of every alternative is a candidate; values are
weighed by what the fuel and the readings so far make likely, never against a stop limit and never for CO.
The winner may still carry a doubt; the gate then asks for the value a second time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal

from handsfree.lexicon.grammar import UNKNOWN_WORD, Grammar
from handsfree.lexicon.meaning import HazardSaid, Meaning, Values
from handsfree.lexicon.spoken import WORD_OF
from handsfree.measurement.reading import Reading
from handsfree.session.inputs import Alternative, Heard
from handsfree.session.plan import Plan
from handsfree.session.plausibility import Situation, log_prior
from handsfree.session.situation import situation_of
from handsfree.session.state import State

CLEAR_MARGIN = Decimal("4.0")
"""Score by which the winner must lead another meaning, natural logarithm; smaller leads are doubtful."""

LEAST_CONFIDENCE = Decimal("0.60")
"""A word below this makes its utterance doubtful. High confidence proves nothing (it is often 1.0 and wrong)."""

STEP = Decimal("0.001")


@dataclass(frozen=True)
class Candidate:
    """A meaning with its weighed score, the quantities it calls, and the alternative it came from."""

    meaning: Meaning
    score: Decimal
    alternative: int


@dataclass(frozen=True)
class Choice:
    """The chosen meaning, or None with the reason; the runners-up; and what speaks against it."""

    meaning: Meaning | None
    doubt: str = ""
    onset: int = 0
    rivals: tuple[Meaning, ...] = ()
    why: str = ""


def choose(plan: Plan, state: State, grammar: Grammar, heard: Heard) -> Choice:
    """Return what an utterance means at the question at hand."""
    if not heard.alternatives:
        return Choice(None, why="nothing heard")
    onset = _onset(heard)
    best = heard.alternatives[0]
    first = grammar.read(best.text)
    hazard = next((meaning for meaning in first if isinstance(meaning, HazardSaid)), None)
    if hazard is not None:
        return Choice(hazard, onset=onset)
    candidates = sorted(_candidates(plan, state, grammar, heard), key=lambda c: (-c.score, c.alternative))
    if not candidates:
        why = "unknown speech" if UNKNOWN_WORD in best.text else "not a whole answer"
        return Choice(None, why=why, onset=onset)
    if heard.overflow:
        return Choice(None, why="sound was lost", onset=onset)
    winner = candidates[0]
    rivals = [c for c in candidates[1:] if c.meaning != winner.meaning]
    if UNKNOWN_WORD in best.text and not first:
        unknown_lead = best.score - heard.alternatives[winner.alternative].score
        if unknown_lead > CLEAR_MARGIN:
            return Choice(None, why="unknown speech", onset=onset)
    doubt = ""
    if rivals and winner.score - rivals[0].score < CLEAR_MARGIN:
        doubt = f"close to {describe(rivals[0].meaning)}"
    elif _confidence(heard.alternatives[winner.alternative]) < LEAST_CONFIDENCE:
        doubt = "low confidence"
    elif heard.clipped:
        doubt = "the sound was clipped"
    return Choice(winner.meaning, doubt, onset, tuple(dict.fromkeys(c.meaning for c in rivals[:2])))


def choose_typed(grammar: Grammar, text: str) -> Choice:
    """Return what typed words mean; keys are trusted, but words that mean two things are not."""
    meanings = grammar.read(_spoken(text))
    if not meanings:
        return Choice(None, why="no answer to this")
    hazard = next((meaning for meaning in meanings if isinstance(meaning, HazardSaid)), None)
    chosen = hazard or meanings[0]
    rivals = tuple(meaning for meaning in meanings[1:] if meaning != chosen)
    return Choice(chosen, "it has two meanings" if rivals and not hazard else "", rivals=rivals)


def _spoken(text: str) -> tuple[str, ...]:
    """Return typed text as words: digits are spoken one by one, so that "9.3" reads as it is said."""
    words: list[str] = []
    for piece in text.lower().replace(",", " ").split():
        number = piece.removeprefix("-")
        if number and all(character in WORD_OF for character in number):
            words += (["minus"] if piece.startswith("-") else []) + [WORD_OF[character] for character in number]
        else:
            words.append(piece)
    return tuple(words)


def describe(meaning: Meaning) -> str:
    """Return a meaning in the words of the record."""
    if isinstance(meaning, Values):
        values = ", ".join(f"{quantity} {value}" for quantity, value in meaning.values)
        rates = "".join(f"; rate {rate}" for rate in (meaning.before, meaning.after) if rate)
        return values + rates
    fields = ", ".join(str(value) for value in vars(meaning).values() if value is not None)
    return f"{type(meaning).__name__.lower()} {fields}"


def _candidates(plan: Plan, state: State, grammar: Grammar, heard: Heard) -> Iterable[Candidate]:
    for number, alternative in enumerate(heard.alternatives):
        for meaning in grammar.read(alternative.text):
            prior = _prior(plan, state, meaning) if isinstance(meaning, Values) else Decimal(0)
            yield Candidate(meaning, (alternative.score + prior).quantize(STEP), number)


def _prior(plan: Plan, state: State, meaning: Values) -> Decimal:
    """Return the log prior of called values, each given those before it in the same breath."""
    situation: Situation = situation_of(plan, state)
    total = Decimal(0)
    for quantity, value in meaning.values:
        if isinstance(value, Decimal):
            reading = plan.reading(quantity, value)
            total += log_prior(situation, reading)
            situation = _knowing(situation, quantity, reading)
    return total


def _knowing(situation: Situation, quantity: str, reading: Reading) -> Situation:
    return replace(situation, this_set={**situation.this_set, quantity: reading})


def _onset(heard: Heard) -> int:
    words = heard.alternatives[0].words
    return heard.started + words[0].start_ms if words else heard.started


def _confidence(alternative: Alternative) -> Decimal:
    return min((word.confidence for word in alternative.words), default=Decimal(0))
