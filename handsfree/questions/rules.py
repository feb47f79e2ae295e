"""The rules of words that several kinds of question share, and those that hold at every question."""

from __future__ import annotations

from collections.abc import Iterable

from handsfree.lexicon.catalogue import Catalogue, Quantity
from handsfree.lexicon.correction_rules import WrongRule
from handsfree.lexicon.grammar import GrammarRule, PhraseRule, TurnRule, answers, hazards
from handsfree.lexicon.meaning import Called, Command, CommandName, Meaning, Values
from handsfree.lexicon.numbers import NumberForm
from handsfree.lexicon.value_rules import OtherUnit, Slot, ValuesRule
from handsfree.questions.ask import Ask, Thing
from handsfree.questions.keypad import shown_unit
from handsfree.questions.kind import Scope
from handsfree.units import convert

EXTRA_DECIMALS = 1
"""A display may show one digit more than the procedure expects; it is kept, since resolution is evidence.

Only where one value of a tenth is asked: in a row of values a further digit would make their division
ambiguous, and whole or fine displays show no more digits at one time than at another.
"""


def slots(asks: Iterable[Ask], scope: Scope) -> tuple[Slot, ...]:
    """Return how the asked quantities are spoken, one after the other."""
    row = tuple(asks)
    return tuple(slot(ask, scope, EXTRA_DECIMALS if len(row) == 1 else 0) for ask in row)


def slot(ask: Ask, scope: Scope, extra: int = 0) -> Slot:
    """Return how an asked quantity is spoken; sayable is wider than plausible, so that stops can be heard.

    A bare number is in the unit that the instrument shows; in any other of the quantity's units it is named.
    """
    catalogue, quantity = scope.catalogue, scope.catalogue.quantities[ask.quantity]
    specials: dict[str, Called] = {}
    for text in catalogue.answers["over-range"]:
        specials[text] = "over range"
    for text in catalogue.answers["no-reading"]:
        specials[text] = "no reading"
    shown = shown_unit(quantity, scope.shows)
    forms = {
        unit: _form(quantity, ask, unit, extra)
        for unit in (quantity.unit, *quantity.also)
        if unit in catalogue.units
    }
    others = tuple(
        OtherUnit("" if unit == quantity.unit else unit, form, catalogue.units[unit].heard)
        for unit, form in forms.items()
        if unit != shown and catalogue.units[unit].heard
    )
    bare = "" if shown == quantity.unit else shown
    heard = catalogue.units[shown].heard
    return Slot(catalogue.numbers, ask.quantity, forms[shown], quantity.heard, heard, specials, bare, others)


def _form(quantity: Quantity, ask: Ask, unit: str, extra: int) -> NumberForm:
    """Return which numbers an instrument shows of a quantity in a unit."""
    if unit == quantity.unit:
        decimals = quantity.decimals if ask.decimals is None else ask.decimals
        low, high = quantity.low, quantity.high
    else:
        decimals = quantity.also[unit]
        low, high = convert(quantity.low, quantity.unit, unit), convert(quantity.high, quantity.unit, unit)
    return NumberForm(low, high, decimals, decimals + (extra if decimals == 1 else 0))


def held_rates(scope: Scope) -> dict[str, str]:
    """Return phrase -> rate at a gate that holds one: it may be called with the values."""
    return rates(scope.catalogue) if scope.rate else {}


def values_missing(scope: Scope, missing: Iterable[str]) -> ValuesRule:
    """Return the rule for values that are still missing, in the order asked, and for any of the gate's by name."""
    wanted = tuple(missing)
    row = slots((ask for ask in scope.asks if ask.quantity in wanted), scope)
    return ValuesRule(row, held_rates(scope), slots(scope.asks, scope), rate_ends_row=False)


def values_anew(scope: Scope) -> ValuesRule:
    """Return the rule for the whole row anew, or any of its values by name."""
    return ValuesRule(slots(scope.asks, scope), held_rates(scope), whole=True, rate_ends_row=False)


def named(catalogue: Catalogue, *names: str) -> PhraseRule:
    """Return the rule for some of the language's own answers."""
    typed = {name: catalogue.typed[name] for name in names if name in catalogue.typed}
    return answers({name: catalogue.answers[name] for name in names}, typed)


def affirm(catalogue: Catalogue) -> PhraseRule:
    """Return the rule for yes and no."""
    return named(catalogue, "affirm", "deny")


def right(catalogue: Catalogue) -> PhraseRule:
    """Return the rule for yes and no where a read-back is merely right: an ordinary yes counts too."""
    said = catalogue.answers
    return answers({"affirm": (*said["affirm"], *said["yes"]), "deny": said["deny"]})


def done(scope: Scope) -> tuple[GrammarRule, ...]:
    """Return the gate's own words for having done it and, where they are enough, the ordinary ones."""
    own = answers(scope.answers)
    if not scope.ordinary:
        return (own,)
    name = next(iter(scope.answers))
    words = ordinary_words(scope.catalogue)
    return (own, answers({name: [text for text in words if text not in own.meanings]}))


def ordinary_words(catalogue: Catalogue) -> tuple[str, ...]:
    """Return the ordinary words for something that is merely done."""
    return tuple(text for name in ("yes", "done", "merely-done") for text in catalogue.answers[name])


def states(thing: Thing) -> PhraseRule:
    """Return the rule for the two states of a thing."""
    return answers({"altered": (thing.altered,), "restored": (thing.restored,)})


def rates(catalogue: Catalogue) -> dict[str, str]:
    """Return phrase -> rate."""
    return {text: rate for rate, texts in catalogue.rates.items() for text in texts}


def rate_lost(scope: Scope) -> tuple[GrammarRule, ...]:
    """Return that the rate may be lost, at a gate that holds one."""
    return () if scope.rate is None else (named(scope.catalogue, "dropped-back"),)


def taken_back(catalogue: Catalogue) -> PhraseRule:
    """Return the rule for saying that the last answer was wrong."""
    name: CommandName = "that-was-wrong"
    return PhraseRule({text: Command(name) for text in catalogue.everywhere[name]})


def everywhere(catalogue: Catalogue, *, photo: bool = False) -> tuple[GrammarRule, ...]:
    """Return what is understood at any moment of a running visit; "photo left out" only where one is wanted."""
    known = {name: texts for name, texts in catalogue.everywhere.items() if photo or name != "no-photo"}
    commands: dict[str, Meaning] = {text: Command(name) for name, texts in known.items() for text in texts}
    open_ended = frozenset(text for name in ("not-done", "no-photo") for text in catalogue.everywhere[name])
    taken_back = {text: name for name in catalogue.taken_back for text in catalogue.quantities[name].heard}
    over_range: dict[str, Meaning] = {
        f"{name} {text}": Values(((quantity, "over range"),))
        for quantity in catalogue.over_range
        for name in catalogue.quantities[quantity].heard
        for text in catalogue.answers["over-range"]
    }
    return (
        hazard_rule(catalogue),
        PhraseRule(commands, open_ended),
        WrongRule(taken_back, catalogue.answers["was-wrong"]),
        PhraseRule(over_range),
    )


def hazard_rule(catalogue: Catalogue) -> PhraseRule:
    """Return the rule for stop and hazard phrases."""
    known = catalogue.hazards.items()
    return hazards(
        {name: (*hazard.heard, *hazard.alone) for name, hazard in known},
        {name: hazard.typed for name, hazard in known},
    )


def turn_rule(catalogue: Catalogue) -> TurnRule:
    """Return the rule for a turn of an adjuster."""
    directions = {text: name for name in ("clockwise", "counter-clockwise") for text in catalogue.answers[name]}
    return TurnRule(directions, {text: eighths for eighths, texts in catalogue.turns.items() for text in texts})
