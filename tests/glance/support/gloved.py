"""A technician with gloves on: what the invented one would say, on space, enter, arrows and digits alone."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.state import State
from handsfree.glance.keypad_state import DOWN, ENTER, KeypadState, here, press
from handsfree.lexicon.meaning import Correction, Meaning, Values
from handsfree.questions.keypad import Keypad
from handsfree.session.fusion import choose_typed
from handsfree.session.keys import keypad
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal

PACE_MS = 1_100
"""Between two presses: slower than a held key repeats."""


def meaning(plan: Plan, state: State, words: str) -> Meaning | None:
    """Return what words mean at the question at hand."""
    return choose_typed(plan, plan.grammar(state.question, state.gate), words).meaning


def keys_for(plan: Plan, state: State, words: str) -> list[str]:
    """Return the keys for an answer; AssertionError where no keys give it."""
    found, wanted = keypad(plan, state), meaning(plan, state, words)
    assert wanted is not None, words
    if found.plain and meaning(plan, state, found.plain) == wanted:
        return [ENTER]
    if isinstance(wanted, Values) and found.fields:
        assert tuple(quantity for quantity, _ in wanted.values) == tuple(one.quantity for one in found.fields)
        return [key for _, value in wanted.values for key in (*_number(found, value), ENTER)]
    if isinstance(wanted, Correction):
        ((quantity, value),) = wanted.values
        (number,) = [i for i, one in enumerate(found.offers) if one.opens and one.opens.quantity == quantity]
        return [*[DOWN] * (number + 1), ENTER, *_number(found, value), ENTER]
    same = [
        number
        for number, offer in enumerate(found.offers)
        if offer.text and offer.opens is None and meaning(plan, state, offer.text) == wanted
    ]
    assert same, (state.gate, state.question, words, [offer.label for offer in found.offers])
    return [*[DOWN] * (same[0] + 1), ENTER]


def _number(found: Keypad, value: object) -> Iterator[str]:
    assert isinstance(value, Decimal)
    if value < 0:
        yield from [DOWN] * (1 + [offer.entry for offer in found.offers].index("-"))
        yield ENTER
    yield from f"{abs(value):f}".replace(".", "")


def pressed(
    visit: Rehearsal, keypad_state: KeypadState, keys: list[str]
) -> tuple[KeypadState, tuple[ev.Decision, ...]]:
    """Press keys at a person's pace; what they come to is taken by the visit."""
    at = visit.state.now
    keypad_state = here(visit.state, keypad_state, at)
    decided: tuple[ev.Decision, ...] = ()
    for key in keys:
        at += PACE_MS
        keypad_state, text = press(visit.plan, visit.state, keypad_state, key, at)
        if text:
            decided += visit.take(inp.Typed(at=at, text=text))
            at = max(at, visit.state.now)
            keypad_state = here(visit.state, keypad_state, at)
    return keypad_state, decided
