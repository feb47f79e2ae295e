"""Keys pressed with a glove on: what is being entered or chosen, and the words they come to. Pure.

A number needs digits alone, as on a till: each pushes the others to the left, and the point stands where the
instrument shows it. What will be sent is on the screen before enter sends it, and the visit then reads it back.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from types import MappingProxyType

from handsfree.events.state import State
from handsfree.glance.key_names import DOWN, ENTER, HAZARD, LEFT, OFFER, RIGHT, SPACE, STOP_BUTTON, UP, WORD
from handsfree.lexicon.meaning import InUnit, Values
from handsfree.questions import Question
from handsfree.questions.keypad import Keypad, NumberField, Offer
from handsfree.questions.nothing import Nothing
from handsfree.session.fusion import choose_typed
from handsfree.session.keys import called, hazards, keypad
from handsfree.session.plan import Plan

STOP_PRESSES = 3
STOP_WITHIN_MS = 3_000
"""The right arrow so often within so long stops the work. It does nothing else, so no ordinary work stops by it;
three presses of one key need no aim, and one bump of a glove stops nothing. Held down it repeats, and stops."""
BOUNCE_MS = 60
REPEAT_MS = 800
"""A key held down repeats after at most so long: with no other key between, enter does not count again sooner."""
READ_BACK_MS, SEEN_MS = 1_000, 250
"""A read-back that ends something is on the screen so long before enter confirms it; any question the second:
nobody can have meant a question that came up while the key went down."""
WORDS_KEPT_MS = 15_000
"""Typed words that nobody goes on with are dropped, so that enter means itself again."""
MOST_DIGITS, MOST_LETTERS = 6, 200

SPECIALS = ("over range", "no reading")


@dataclass(frozen=True)
class KeypadState:
    """What has been entered at one question and not sent yet."""

    place: tuple[str, Question] = ("", Nothing())
    since: int = 0
    """Since when that question is on the screen, in ms of the visit."""
    entries: tuple[str, ...] = ("",)
    """For each field its digits, with "-" before them, or "over range" or "no reading"; the last is at hand."""
    chosen: int | None = None
    """The number of the offer that is marked."""
    opened: Offer | None = None
    """An offer whose own field is being filled."""
    words: str = ""
    pressed: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    """When each key was last pressed."""
    last: str = ""
    stops: tuple[int, ...] = ()
    """When the stop key was pressed lately."""


def press(plan: Plan, state: State, keypad_state: KeypadState, key: str, at: int) -> tuple[KeypadState, str]:
    """Return the keypad's state after a key pressed at a time (ms of the visit), and the words to send, or ""."""
    keypad_state = here(state, keypad_state, at)
    if key == SPACE:  # enter, but between typed words
        key = f"{WORD} " if keypad_state.words else ENTER
    keypad_state, text = _pressed(plan, state, keypad_state, key, at)
    return (
        (replace(keypad_state, entries=("",), chosen=None, opened=None, words=""), text)
        if text
        else (keypad_state, "")
    )


def _pressed(  # noqa: PLR0911 - one case for each key
    plan: Plan, state: State, keypad_state: KeypadState, key: str, at: int
) -> tuple[KeypadState, str]:
    before, last = keypad_state.pressed.get(key), keypad_state.last
    if key == RIGHT and before is not None and at - before < BOUNCE_MS:
        return keypad_state, ""
    held = key == last and before is not None and at - before < (REPEAT_MS if key in {ENTER, LEFT} else BOUNCE_MS)
    keypad_state = replace(keypad_state, pressed=MappingProxyType({**keypad_state.pressed, key: at}), last=key)
    if key in {RIGHT, STOP_BUTTON}:
        return _stop(plan, state, keypad_state, key, at)
    if key.startswith(HAZARD):
        name = key.removeprefix(HAZARD)
        return keypad_state, called(plan, name) if state.status != "closed" and name in hazards(plan) else ""
    choices = _choices(keypad_state, keypad(plan, state))
    if key in {UP, DOWN}:
        return _mark(keypad_state, choices, -1 if key == UP else 1), ""
    if key.startswith(OFFER):
        number = int(key.removeprefix(OFFER))
        return (replace(keypad_state, chosen=number) if number < len(choices.offers) else keypad_state), ""
    if key.startswith(WORD):
        more = keypad_state.words + key.removeprefix(WORD)
        return (replace(keypad_state, words=more, chosen=None) if len(more) <= MOST_LETTERS else keypad_state), ""
    if key.isdecimal():
        return (keypad_state if held else _digit(keypad_state, choices, key)), ""
    if key == LEFT:
        return _left(keypad_state, choices, held=held)
    if key == ENTER and not held:
        return _enter(plan, state, keypad_state, choices, at)
    return keypad_state, ""


def here(state: State, keypad_state: KeypadState, at: int) -> KeypadState:
    """Return the state as it is now: empty at another question, without words and stop presses that are old."""
    place = (state.gate, state.question)
    if keypad_state.place != place:
        keypad_state = KeypadState(
            place, at, pressed=keypad_state.pressed, last=keypad_state.last, stops=keypad_state.stops
        )
    if keypad_state.words and at - max(keypad_state.pressed.values(), default=at) > WORDS_KEPT_MS:
        keypad_state = replace(keypad_state, words="")
    return replace(keypad_state, stops=tuple(one for one in keypad_state.stops if at - one <= STOP_WITHIN_MS))


def fields_of(keypad_state: KeypadState, found: Keypad) -> tuple[NumberField, ...]:
    """Return the fields being filled: those of an opened offer, else those of the question."""
    return (
        (keypad_state.opened.opens,)
        if keypad_state.opened is not None and keypad_state.opened.opens is not None
        else found.fields
    )


def shown(entry: str, decimals: int) -> str:
    """Return an entry as it will be sent: 93 with one digit after the point is 9.3."""
    if entry in SPECIALS or not entry.lstrip("-"):
        return entry
    return f"{_number(entry, decimals):f}"


def _number(entry: str, decimals: int) -> Decimal:
    return Decimal(entry).scaleb(-decimals)


def _choices(keypad_state: KeypadState, found: Keypad) -> Keypad:
    return replace(found, fields=fields_of(keypad_state, found))


def _stop(plan: Plan, state: State, keypad_state: KeypadState, key: str, at: int) -> tuple[KeypadState, str]:
    keypad_state = replace(keypad_state, stops=(*keypad_state.stops, at))
    if state.status != "running" or (key == RIGHT and len(keypad_state.stops) < STOP_PRESSES):
        return keypad_state, ""
    return replace(keypad_state, stops=()), plan.catalogue.hazards["stop-work"].heard[0]


def _mark(keypad_state: KeypadState, choices: Keypad, step: int) -> KeypadState:
    """Mark the next offer; the end of the list leads to none marked, and then round again."""
    count = len(choices.offers)
    place = (0 if keypad_state.chosen is None else keypad_state.chosen + 1) + step
    return replace(keypad_state, chosen=None if place % (count + 1) == 0 else place % (count + 1) - 1)


def _digit(keypad_state: KeypadState, choices: Keypad, key: str) -> KeypadState:
    if keypad_state.words or choices.digits:
        return replace(keypad_state, words=(keypad_state.words + key)[:MOST_LETTERS])
    if not choices.fields:
        number = int(key)
        return replace(keypad_state, chosen=number - 1) if 0 < number <= len(choices.offers) else keypad_state
    entry = "" if keypad_state.entries[-1] in SPECIALS else keypad_state.entries[-1]
    if len(entry.lstrip("-")) >= MOST_DIGITS:
        return keypad_state
    return replace(keypad_state, entries=(*keypad_state.entries[:-1], entry + key), chosen=None)


def _left(keypad_state: KeypadState, choices: Keypad, *, held: bool) -> tuple[KeypadState, str]:
    """Take back what was entered last; with nothing entered, say no where that is an answer."""
    if keypad_state.words:
        return replace(keypad_state, words=keypad_state.words[:-1]), ""
    if keypad_state.chosen is not None:
        return replace(keypad_state, chosen=None), ""
    entry = keypad_state.entries[-1]
    if entry:
        shorter = "" if entry in SPECIALS else entry[:-1]
        return replace(keypad_state, entries=(*keypad_state.entries[:-1], shorter)), ""
    if len(keypad_state.entries) > 1:
        return replace(keypad_state, entries=keypad_state.entries[:-1]), ""
    if keypad_state.opened is not None:
        return replace(keypad_state, opened=None), ""
    return keypad_state, "" if held else choices.no


def _enter(
    plan: Plan, state: State, keypad_state: KeypadState, choices: Keypad, at: int
) -> tuple[KeypadState, str]:
    if keypad_state.words:
        return keypad_state, keypad_state.words
    if keypad_state.chosen is not None:
        offer = choices.offers[keypad_state.chosen]
        keypad_state = replace(keypad_state, chosen=None)
        if offer.entry:
            return replace(keypad_state, entries=(*keypad_state.entries[:-1], offer.entry)), ""
        if offer.opens is not None:
            return replace(keypad_state, opened=offer, entries=("",)), ""
        return keypad_state, offer.text
    if choices.fields and any(_filled(entry) for entry in keypad_state.entries):
        return _next_field(plan, state, keypad_state, choices.fields)
    wanted = READ_BACK_MS if choices.patient else SEEN_MS
    return keypad_state, "" if at - keypad_state.since < wanted and not choices.at_once else choices.plain


def _filled(entry: str) -> bool:
    return bool(entry.lstrip("-"))


def _next_field(
    plan: Plan, state: State, keypad_state: KeypadState, fields: tuple[NumberField, ...]
) -> tuple[KeypadState, str]:
    """Go on to the next field; from the last, or from an empty one, send the row as far as it goes."""
    if _filled(keypad_state.entries[-1]) and len(keypad_state.entries) < len(fields):
        return replace(keypad_state, entries=(*keypad_state.entries, "")), ""
    row = [(one, entry) for one, entry in zip(fields, keypad_state.entries, strict=False) if _filled(entry)]
    if keypad_state.opened is not None:
        return keypad_state, f"{keypad_state.opened.text} {shown(row[0][1], row[0][0].decimals)}"
    return keypad_state, _row(plan, state, row)


def _row(plan: Plan, state: State, row: list[tuple[NumberField, str]]) -> str:
    """Return the words of a row of values: bare, or with names where bare they could be divided otherwise."""
    wanted = tuple(
        (one.quantity, entry if entry in SPECIALS else _number(entry, one.decimals)) for one, entry in row
    )
    ways = list(_ways(plan, row))
    grammar = plan.grammar(state.question, state.gate)
    for text in ways:
        choice = choose_typed(plan, grammar, text)
        if isinstance(choice.meaning, Values) and _bare(choice.meaning) == wanted and not choice.competing:
            return text
    return ways[0]


def _bare(meaning: Values) -> tuple[tuple[str, Decimal | str], ...]:
    """Return called values without their units: the keys enter what the instrument shows."""
    return tuple((name, one.value if isinstance(one, InUnit) else one) for name, one in meaning.values)


def _ways(plan: Plan, row: list[tuple[NumberField, str]]) -> Iterator[str]:
    values = [shown(entry, one.decimals) for one, entry in row]
    yield " ".join(values)
    for pick in (-1, 0):
        names = [plan.catalogue.quantities[one.quantity].heard[pick] for one, _ in row]
        yield " ".join(f"{name} {value}" for name, value in zip(names, values, strict=True))


__all__ = ["KeypadState", "Offer", "fields_of", "here", "press", "shown"]
