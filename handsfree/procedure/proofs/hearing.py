"""What is proven of the words: understood apart, pronounceable, stops never shadowed, numbers sayable."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import assert_never

from handsfree.gates.asking import questions_at
from handsfree.gates.kind import KeyPath
from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.distance import phrase_distance
from handsfree.lexicon.grammar import Grammar, PhraseRule
from handsfree.lexicon.meaning import (
    Answer,
    Command,
    Correction,
    HazardSaid,
    Meaning,
    Spelled,
    TurnMade,
    Values,
    Wrong,
)
from handsfree.lexicon.numbers import NumberForm
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.problem import Problem
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.procedure.proofs.search import ProofFault, Violation
from handsfree.questions import Question
from handsfree.questions import grammar as understood
from handsfree.questions.ask import Ask

LEAST_DISTANCE = 1.9
"""Two phrases with different meanings must be at least so many phones apart (`handsfree/lexicon/distance.py`).

Set by `tests/bench/proofs/confusions.py`: one synthetic voice in white noise, heard by our model. Nearer pairs
were taken for each other in 0 to 16 % of the utterances at 20 dB; of 111 pairs further apart, none at 20 dB, and 0
to 1 % at 10 dB. A ranking of pairs, not what happens in a loud room."""


Meanings = tuple[Meaning, ...]
Phrase = tuple[str, Meanings]


@dataclass(frozen=True)
class QuestionWords:
    """What is understood at one question of a gate."""

    placed: PlacedGate
    question: Question
    grammar: Grammar
    fixed: Mapping[str, Meanings]
    """Its fixed phrases, with everything that each can mean."""
    mine: Mapping[str, Meanings]
    """Those that answer the question."""


@dataclass(frozen=True)
class ProcedureWords:
    """The words of one procedure and how they sound."""

    procedure: Procedure
    catalogue: Catalogue
    pronunciations: Pronunciations

    @cached_property
    def grammars(self) -> tuple[QuestionWords, ...]:
        """What is understood at each question that any gate can ask.

        A question that the visit itself asks is understood alike at every gate, so it comes once.
        """
        return tuple(self._grammars())

    def _grammars(self) -> Iterator[QuestionWords]:
        told: set[Question] = set()
        for placed in self.procedure.gates.values():
            scope = self.procedure.scope(placed.id, self.catalogue)
            if any(ask.quantity not in self.catalogue.quantities for ask in scope.asks):
                continue
            for question in questions_at(placed.gate, scope):
                if question.manner.asker == "gate" or question not in told:
                    told.add(question)
                    grammar = understood.grammar(question, scope)
                    mine = fixed_phrases(Grammar(question.rules(scope)))
                    yield QuestionWords(placed, question, grammar, fixed_phrases(grammar), mine)


def hearing_of(procedure: Procedure, catalogue: Catalogue) -> ProcedureWords:
    """Return the words of a procedure; raise Problem when its `words` are spelled in no known phones."""
    try:
        return ProcedureWords(procedure, catalogue, catalogue.pronounced(procedure.words))
    except Problem as problem:
        place = procedure.documents[0].place(("words",))
        raise Problem(problem.what, where=str(place), remedy=problem.remedy) from problem


def unstoppable(hearing: ProcedureWords) -> Iterator[Violation]:
    """Yield each question at which a stop or hazard phrase is not understood, or also means something else."""
    told: set[str] = set()
    stops = [
        (name, text, {HazardSaid(name)})
        for name, hazard in hearing.catalogue.hazards.items()
        for text in (*hazard.heard, *hazard.alone)
    ]
    for one in hearing.grammars:
        placed, question = one.placed, one.question
        for name, text, wanted in stops:
            if placed.id in told:
                break
            meanings = set(one.fixed.get(text, ()))
            if meanings != wanted:
                told.add(placed.id)
                also = ", ".join(sorted(_told(m) for m in meanings - {HazardSaid(name)})) or "nothing"
                what = f'at {placed.id} ({question.kind}) "{text}" means {also}'
                yield Violation(placed.id, ProofFault("can-stop", what, "take the phrase away from the gate"), ())


def _told(meaning: Meaning) -> str:
    """Return a meaning as an author knows it."""
    match meaning:
        case HazardSaid(name):
            return f"the stop {name}"
        case Answer(name):
            return f"the answer {name}"
        case Command(name):
            return f"the command {name}"
        case Values() | Correction() | Wrong():
            return "a value"
        case TurnMade():
            return "a turn"
        case Spelled():
            return "a serial number"
        case _:
            assert_never(meaning)


def fixed_phrases(grammar: Grammar) -> dict[str, tuple[Meaning, ...]]:
    """Return the fixed phrases of a grammar and everything each can mean."""
    found: dict[str, tuple[Meaning, ...]] = {}
    for rule in grammar.rules:
        if isinstance(rule, PhraseRule):
            for text, meaning in rule.meanings.items():
                found[text] = (*found[text], meaning) if text in found else (meaning,)
    return found


def own_phrases(procedure: Procedure, placed: PlacedGate) -> dict[str, KeyPath]:
    """Return the phrases that the author wrote for a gate, with the key each stands under."""
    gate = placed.gate
    found: dict[str, KeyPath] = {}
    for name, texts in gate.phrases.items():
        found |= dict.fromkeys(texts, ("answers", name) if len(gate.phrases) > 1 else (name,))
    for name in (*gate.needs, *(gate.effects.restores if gate.effects.proves_settings else ())):
        thing = procedure.things[name]
        found |= dict.fromkeys((thing.altered, thing.restored), ("things", name))
    return found


def twice(hearing: ProcedureWords) -> Iterator[Violation]:
    """Yield each phrase that a gate takes for two of its answers: only one of them would ever be heard."""
    for placed in hearing.procedure.gates.values():
        means: dict[str, str] = {}
        for name, texts in placed.gate.phrases.items():
            for text in texts:
                first = means.setdefault(text, name)
                if first != name:
                    what = f'at {placed.id} "{text}" is the answer {first} and the answer {name}'
                    fault = ProofFault("apart", what, "use other words", ("answers", name, "heard"))
                    yield Violation(placed.id, fault, ())


def too_alike(hearing: ProcedureWords) -> Iterator[Violation]:
    """Yield pairs of phrases accepted together, of different meaning, that sound too alike.

    One of the two answers the question; what is understood everywhere is held apart when a language is read.
    """
    told: set[tuple[str, str, str]] = set()
    alike = _Alike(hearing.pronunciations, silent=_silent(hearing))
    found: dict[tuple[frozenset[Phrase], frozenset[Phrase]], list[tuple[str, str, str]]] = {}
    for at in hearing.grammars:
        words = frozenset(at.mine.items()), frozenset(at.fixed.items())
        if words not in found:  # hundreds of gates ask for the same words
            found[words] = [(*pair, why) for pair in _pairs(at.mine, at.fixed) if (why := alike.why(*pair))]
        placed = at.placed
        for one, other, why in found[words]:
            if (placed.id, one, other) not in told:
                told.add((placed.id, one, other))
                what = f'at {placed.id} "{one}" and "{other}": {why}'
                at_key = own_phrases(hearing.procedure, placed).get(one, ())
                yield Violation(placed.id, ProofFault("apart", what, "use other words", at_key), ())


def _pairs(mine: Mapping[str, Meanings], fixed: Mapping[str, Meanings]) -> Iterator[tuple[str, str]]:
    """Yield each phrase of the question with each other that could be taken for it and means something else."""
    for one in mine:
        for other, means in fixed.items():
            if one == other:
                if len(set(means)) > 1:
                    yield one, other
            elif not (other in mine and other < one) and not set(fixed[one]) & set(means):
                yield one, other


class _Alike:
    """Why two phrases sound too alike, worked out once for each pair."""

    def __init__(self, pronunciations: Pronunciations, *, silent: bool) -> None:
        self._pronunciations, self._silent = pronunciations, silent
        self._known: dict[tuple[str, str], str] = {}

    def why(self, one: str, other: str) -> str:
        """Return why, or "" when they sound different enough or nobody knows how they sound."""
        pair = (one, other) if one < other else (other, one)
        if pair not in self._known:
            self._known[pair] = self._why(*pair)
        return self._known[pair]

    def _why(self, one: str, other: str) -> str:
        if one == other:
            return "one phrase with two meanings"
        if self._pronunciations.unknown((*one.split(), *other.split())):
            if not self._silent:
                return ""
        else:
            apart = _near(one, other, self._pronunciations)
            if apart < LEAST_DISTANCE:
                return f"{apart:.2f} phones apart, {LEAST_DISTANCE} needed"
        first, second = sorted((one, other), key=len)
        if second.startswith(first + " "):
            return "one begins the other, so a cut-off word changes the meaning"
        return ""


_in_the_dictionary: dict[tuple[str, str], float] = {}
"""What `_near` found of words that no procedure spells out, so that the next procedure need not."""


def _near(one: str, other: str, pronunciations: Pronunciations) -> float:
    """Return how far apart two phrases sound, in phones; infinite when that is far enough."""
    known = {} if pronunciations.spelled else _in_the_dictionary
    if (one, other) not in known:
        known[one, other] = phrase_distance(one.split(), other.split(), pronunciations, LEAST_DISTANCE)
    return known[one, other]


def unpronounceable(hearing: ProcedureWords) -> Iterator[Violation]:
    """Yield words the author expects to hear for which no pronunciation is known.

    In a language without any pronunciation nothing is proven of how words sound, and that is one finding; of a
    translation it is a remark, since the procedure is proven in its own language.
    """
    told: set[str] = set()
    if _silent(hearing) and hearing.catalogue.language in hearing.procedure.file.translations:
        return
    if _silent(hearing):
        language = hearing.catalogue.language
        what = f"{language} has no pronunciations, so nothing is proven of how its words sound"
        remedy = f"spell its words in phones, under `pronunciations` of {language}.yaml"
        yield Violation("", ProofFault("vocabulary", what, remedy, ("language",)), ())
        return
    for placed in hearing.procedure.gates.values():
        for text, path in own_phrases(hearing.procedure, placed).items():
            for word in hearing.pronunciations.unknown(text.split()):
                if word not in told:
                    told.add(word)
                    near = ", ".join(hearing.pronunciations.nearest(word))
                    what = f'no pronunciation is known for "{word}"' + (f" (near: {near})" if near else "")
                    fault = ProofFault("vocabulary", what, "use another word, or spell it out under `words`", path)
                    yield Violation(placed.id, fault, ())


def _silent(hearing: ProcedureWords) -> bool:
    return hearing.catalogue.dictionary is None and not hearing.pronunciations.spelled


def unsayable_numbers(hearing: ProcedureWords) -> Iterator[Violation]:
    """Yield quantities nobody can call: unknown ones, and ranges outside what can be said of the quantity."""
    catalogue = hearing.catalogue
    for placed in hearing.procedure.gates.values():
        for number, ask in enumerate(placed.gate.effects.asks):
            path = placed.gate.effects.asked_at[number]
            quantity = catalogue.quantities.get(ask.quantity)
            if quantity is None:
                known = ", ".join(catalogue.quantities)
                fault = ProofFault("sayable", f"there is no quantity {ask.quantity!r}", f"known: {known}", path)
                yield Violation(placed.id, fault, ())
                continue
            decimals = quantity.decimals if ask.decimals is None else ask.decimals
            form = NumberForm(quantity.low, quantity.high, decimals, decimals)
            for key, what in _number_faults(form, ask, hearing):
                told = f"{placed.id}: {ask.quantity} {what}"
                yield Violation(placed.id, ProofFault("sayable", told, "narrow the range", (*path, *key)), ())


def _number_faults(form: NumberForm, ask: Ask, hearing: ProcedureWords) -> Iterator[tuple[KeyPath, str]]:
    """Yield the first thing that cannot be said of a quantity, with the key below it that is wrong."""
    for name, edge in (("low", ask.low), ("high", ask.high)):
        if edge is None:
            continue
        if not form.low <= edge <= form.high:
            yield (name,), f"{name} {edge} lies outside what can be said of it, {form.low} to {form.high}"
            return
        if -int(edge.as_tuple().exponent) > form.decimals:
            digits = f"the {form.decimals} after the point that are shown"
            yield (name,), f"{name} {edge} has more digits than {digits}"
            return
    missing = hearing.catalogue.numbers.unsayable(form, _Sayable(hearing))
    if missing is not None:
        yield (), f"cannot be said at {missing}"


@dataclass(frozen=True)
class _Sayable:
    """The words with a pronunciation, as a container; all of them where none has one: the model then decides."""

    hearing: ProcedureWords

    def __contains__(self, word: object) -> bool:
        return _silent(self.hearing) or (isinstance(word, str) and bool(self.hearing.pronunciations.of(word)))


def closest(hearing: ProcedureWords, count: int) -> list[tuple[float, str, str]]:
    """Return the pairs of phrases accepted together that sound most alike, nearest first."""
    pairs: Mapping[tuple[str, str], float] = {
        (one, other): phrase_distance(one.split(), other.split(), hearing.pronunciations)
        for at in hearing.grammars
        for one, other in combinations(sorted(at.fixed), 2)
        if not set(at.fixed[one]) & set(at.fixed[other])
        and not hearing.pronunciations.unknown((*one.split(), *other.split()))
    }
    return sorted((apart, one, other) for (one, other), apart in pairs.items())[:count]
