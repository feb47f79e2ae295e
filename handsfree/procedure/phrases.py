"""Which words are understood at each question of each gate: the session hears by it, the proofs check it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.checks import heard
from handsfree.lexicon.grammar import (
    CorrectionRule,
    DigitsRule,
    Grammar,
    PhraseRule,
    Rule,
    Slot,
    TalkRule,
    TurnRule,
    ValuesRule,
    WrongRule,
    answers,
    hazards,
)
from handsfree.lexicon.meaning import Called, Command, Meaning, Values
from handsfree.lexicon.numbers import NumberForm
from handsfree.procedure.model import (
    Ask,
    ChoiceGate,
    ConfirmGate,
    ReadingsGate,
    Thing,
    TimedGate,
)
from handsfree.procedure.procedure import DROPPED_BACK, Gate

EXTRA_DECIMALS = 1
"""A display may show one digit more than the procedure expects; it is kept, since resolution is evidence.

Only where one value of a tenth is asked: in a row of values a further digit would make their division
ambiguous, and whole or fine displays show no more digits at one time than at another.
"""


@dataclass(frozen=True)
class Question:
    """What the tool has asked and now expects: its kind, and what it is about."""

    kind: str
    """gate, rate, read-back, once-more, digits, which-value, pair, thing-first, restore, thing-check, turn,
    turn-check, answer-check, monoxide, mark-first, mark-last, recheck-burner, recheck-rate, recheck-thing,
    finish-check, note, waiting, nothing, stopped, cleared-check, close-check, done-check"""
    about: str = ""


def slots(asks: Iterable[Ask], catalogue: Catalogue) -> tuple[Slot, ...]:
    """Return how the asked quantities are spoken, one after the other."""
    row = tuple(asks)
    return tuple(_slot(ask, catalogue, EXTRA_DECIMALS if len(row) == 1 else 0) for ask in row)


def _slot(ask: Ask, catalogue: Catalogue, extra: int) -> Slot:
    """Return how an asked quantity is spoken; sayable is wider than plausible, so that stops can be heard."""
    quantity = catalogue.quantities[ask.quantity]
    decimals = quantity.decimals if ask.decimals is None else ask.decimals
    specials: dict[str, Called] = {}
    for text in catalogue.answers["over-range"]:
        specials[text] = "over range"
    for text in catalogue.answers["no-reading"]:
        specials[text] = "no reading"
    form = NumberForm(quantity.low, quantity.high, decimals, decimals + (extra if decimals == 1 else 0))
    units = catalogue.units[quantity.unit].heard
    return Slot(catalogue.numbers, ask.quantity, form, quantity.heard, units, specials)


def asks_of(gate: Gate) -> tuple[Ask, ...]:
    """Return the quantities a gate asks for, in order."""
    if isinstance(gate, ReadingsGate):
        return gate.ask
    if isinstance(gate, TimedGate):
        return (gate.volume,)
    return ()


def grammar(question: Question, gate: Gate, things: Mapping[str, Thing], catalogue: Catalogue) -> Grammar:
    """Return all that is understood at a question of a gate."""
    own = tuple(_own_rules(question, gate, things, catalogue))
    if question.kind in {"stopped", "cleared-check", "close-check"}:
        return Grammar((*own, _hazard_rule(catalogue)))
    return Grammar((*own, *everywhere(catalogue)))


def words(gates: Iterable[Gate], things: Mapping[str, Thing], catalogue: Catalogue) -> frozenset[str]:
    """Return every word that may be heard on a visit, whatever its course."""
    asked = {ask.quantity for gate in gates for ask in asks_of(gate)} | {
        *catalogue.taken_back,
        *catalogue.over_range,
    }
    units = {catalogue.quantities[name].unit for name in asked if name in catalogue.quantities}
    texts = [state for thing in things.values() for state in (thing.altered, thing.restored)]
    for gate in gates:
        texts += gate.done if isinstance(gate, ConfirmGate) else ()
        texts += (
            text
            for answer in (gate.answers.values() if isinstance(gate, ChoiceGate) else ())
            for text in answer.heard
        )
    for path, text in heard(catalogue):
        others = {"quantities": asked, "units": units, "spelling": frozenset()}.get(str(path[0]))
        if others is None or (len(path) > 1 and path[1] in others):
            texts.append(text)
    return frozenset(word for text in texts for word in text.split())


def stop_grammar(catalogue: Catalogue) -> Grammar:
    """Return what is heard over the tool's own voice: stop and hazard phrases alone."""
    return Grammar((_hazard_rule(catalogue),))


def everywhere(catalogue: Catalogue) -> tuple[Rule, ...]:
    """Return what is understood at any moment of a running visit."""
    commands = {text: Command(name) for name, texts in catalogue.everywhere.items() for text in texts}
    open_ended = frozenset(catalogue.everywhere["not-done"])
    taken_back = {text: name for name in catalogue.taken_back for text in catalogue.quantities[name].heard}
    over_range: dict[str, Meaning] = {
        f"{name} {text}": Values(((quantity, "over range"),))
        for quantity in catalogue.over_range
        for name in catalogue.quantities[quantity].heard
        for text in catalogue.answers["over-range"]
    }
    return (
        _hazard_rule(catalogue),
        PhraseRule(commands, open_ended),
        WrongRule(taken_back, catalogue.answers["was-wrong"]),
        PhraseRule(over_range),
    )


def _hazard_rule(catalogue: Catalogue) -> PhraseRule:
    return hazards({name: hazard.heard for name, hazard in catalogue.hazards.items()})


def _rates(catalogue: Catalogue) -> dict[str, str]:
    return {text: rate for rate, texts in catalogue.rates.items() for text in texts}


def _named(catalogue: Catalogue, *names: str) -> PhraseRule:
    return answers({name: catalogue.answers[name] for name in names})


def _states(thing: Thing) -> PhraseRule:
    return answers({"altered": (thing.altered,), "restored": (thing.restored,)})


def _only(asks: Iterable[Ask], quantity: str) -> tuple[Ask, ...]:
    return tuple(ask for ask in asks if ask.quantity == quantity)


def _own_rules(
    question: Question, gate: Gate, things: Mapping[str, Thing], catalogue: Catalogue
) -> Iterable[Rule]:
    asks, affirm = asks_of(gate), _named(catalogue, "affirm", "deny")
    row = slots(asks, catalogue)
    match question.kind:
        case "gate":
            return _gate_rules(gate, row, catalogue)
        case "read-back":
            denials = catalogue.answers["deny"]
            return (affirm, CorrectionRule(denials, row), ValuesRule(row), *_drops(gate, catalogue))
        case "digits":
            alone = [_slot(ask, catalogue, 0) for ask in _only(asks, question.about) or asks]
            return (*map(DigitsRule, alone), *_drops(gate, catalogue))
        case "once-more" | "which-value":
            wanted = _only(asks, question.about) or asks
            return (ValuesRule(slots(wanted, catalogue)), *_drops(gate, catalogue))
        case "pair":
            pair = tuple(ask for ask in asks if ask.quantity in {"co2", "o2"})
            return (ValuesRule(slots(pair, catalogue)), *_drops(gate, catalogue))
        case "rate" | "recheck-rate":
            return (answers(catalogue.rates), _named(catalogue, "dropped-back"))
        case "restore" if things[question.about].value is not None:
            return (ValuesRule(slots((thing_ask(things[question.about]),), catalogue)),)
        case "thing-first" | "restore" | "recheck-thing":
            return (_states(things[question.about]),)
        case "turn":
            return (_turns(catalogue),)
        case "turn-check":
            return (affirm, _turns(catalogue))
        case "mark-first" | "mark-last":
            return (_named(catalogue, "mark"),)
        case "recheck-burner":
            return (_named(catalogue, "firing", "off"),)
        case "monoxide":
            pair = tuple(ask for ask in asks if ask.quantity in {"co", "co2"})
            return (affirm, ValuesRule(slots(pair, catalogue)), *_drops(gate, catalogue))
        case "note":
            return (TalkRule("talk", catalogue.sayings["speak-freely"]),)
        case "stopped":
            open_ended = frozenset(catalogue.answers["cleared"])
            said = answers({"cleared": catalogue.answers["cleared"], "close": catalogue.answers["close"]})
            return (PhraseRule(said.meanings, open_ended),)
        case "waiting" | "nothing":
            return _drops(gate, catalogue)
        case _:
            return (affirm,)


def thing_ask(thing: Thing) -> Ask:
    """Return how a thing's value is asked for."""
    assert thing.value is not None
    return Ask(quantity=thing.value)


def _turns(catalogue: Catalogue) -> TurnRule:
    directions = {text: name for name in ("clockwise", "counter-clockwise") for text in catalogue.answers[name]}
    return TurnRule(directions, {text: eighths for eighths, texts in catalogue.turns.items() for text in texts})


def _drops(gate: Gate, catalogue: Catalogue) -> tuple[Rule, ...]:
    if isinstance(gate, ReadingsGate) and gate.dropped_back is not None:
        return (_named(catalogue, "dropped-back"),)
    return ()


def _gate_rules(gate: Gate, row: tuple[Slot, ...], catalogue: Catalogue) -> Iterable[Rule]:
    if isinstance(gate, ConfirmGate):
        return (answers({DONE_ANSWER: gate.done}),)
    if isinstance(gate, ChoiceGate):
        return (answers({name: answer.heard for name, answer in gate.answers.items()}),)
    if isinstance(gate, ReadingsGate | TimedGate):
        rates = _rates(catalogue) if isinstance(gate, ReadingsGate) and gate.rate else {}
        return (ValuesRule(row, rates), *_drops(gate, catalogue))
    return ()


DONE_ANSWER = "done"

__all__ = [
    "DONE_ANSWER",
    "DROPPED_BACK",
    "Question",
    "asks_of",
    "everywhere",
    "grammar",
    "slots",
    "stop_grammar",
    "words",
]
