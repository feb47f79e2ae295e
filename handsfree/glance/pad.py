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
from handsfree.glance.key_names import DOWN, ENTER, LEFT, OFFER, RIGHT, SPACE, STOP_BUTTON, UP, WORD
from handsfree.lexicon.meaning import InUnit, Values
from handsfree.questions import Question
from handsfree.questions.keypad import Keypad, NumberField, Offer
from handsfree.questions.nothing import Nothing
from handsfree.session.fusion import choose_typed
from handsfree.session.keys import keypad
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
class Pad:
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


def press(plan: Plan, state: State, pad: Pad, key: str, at: int) -> tuple[Pad, str]:
    """Return the pad after a key pressed at a time (ms of the visit), and the words to send, or ""."""
    pad = here(state, pad, at)
    if key == SPACE:  # enter, but between typed words
        key = f"{WORD} " if pad.words else ENTER
    pad, text = _pressed(plan, state, pad, key, at)
    return (replace(pad, entries=("",), chosen=None, opened=None, words=""), text) if text else (pad, "")


def _pressed(  # noqa: PLR0911 - one case for each key
    plan: Plan, state: State, pad: Pad, key: str, at: int
) -> tuple[Pad, str]:
    before, last = pad.pressed.get(key), pad.last
    if key == RIGHT and before is not None and at - before < BOUNCE_MS:
        return pad, ""
    held = key == last and before is not None and at - before < (REPEAT_MS if key in {ENTER, LEFT} else BOUNCE_MS)
    pad = replace(pad, pressed=MappingProxyType({**pad.pressed, key: at}), last=key)
    if key in {RIGHT, STOP_BUTTON}:
        return _stop(plan, state, pad, key, at)
    choices = _choices(pad, keypad(plan, state))
    if key in {UP, DOWN}:
        return _mark(pad, choices, -1 if key == UP else 1), ""
    if key.startswith(OFFER):
        number = int(key.removeprefix(OFFER))
        return (replace(pad, chosen=number) if number < len(choices.offers) else pad), ""
    if key.startswith(WORD):
        more = pad.words + key.removeprefix(WORD)
        return (replace(pad, words=more, chosen=None) if len(more) <= MOST_LETTERS else pad), ""
    if key.isdecimal():
        return (pad if held else _digit(pad, choices, key)), ""
    if key == LEFT:
        return _left(pad, choices, held=held)
    if key == ENTER and not held:
        return _enter(plan, state, pad, choices, at)
    return pad, ""


def here(state: State, pad: Pad, at: int) -> Pad:
    """Return the pad as it is now: empty at another question, without words and stop presses that are old."""
    place = (state.gate, state.question)
    if pad.place != place:
        pad = Pad(place, at, pressed=pad.pressed, last=pad.last, stops=pad.stops)
    if pad.words and at - max(pad.pressed.values(), default=at) > WORDS_KEPT_MS:
        pad = replace(pad, words="")
    return replace(pad, stops=tuple(one for one in pad.stops if at - one <= STOP_WITHIN_MS))


def fields_of(pad: Pad, found: Keypad) -> tuple[NumberField, ...]:
    """Return the fields being filled: those of an opened offer, else those of the question."""
    return (pad.opened.opens,) if pad.opened is not None and pad.opened.opens is not None else found.fields


def shown(entry: str, decimals: int) -> str:
    """Return an entry as it will be sent: 93 with one digit after the point is 9.3."""
    if entry in SPECIALS or not entry.lstrip("-"):
        return entry
    return f"{_number(entry, decimals):f}"


def _number(entry: str, decimals: int) -> Decimal:
    return Decimal(entry).scaleb(-decimals)


def _choices(pad: Pad, found: Keypad) -> Keypad:
    return replace(found, fields=fields_of(pad, found))


def _stop(plan: Plan, state: State, pad: Pad, key: str, at: int) -> tuple[Pad, str]:
    pad = replace(pad, stops=(*pad.stops, at))
    if state.status != "running" or (key == RIGHT and len(pad.stops) < STOP_PRESSES):
        return pad, ""
    return replace(pad, stops=()), plan.catalogue.hazards["stop-work"].heard[0]


def _mark(pad: Pad, choices: Keypad, step: int) -> Pad:
    """Mark the next offer; the end of the list leads to none marked, and then round again."""
    count = len(choices.offers)
    place = (0 if pad.chosen is None else pad.chosen + 1) + step
    return replace(pad, chosen=None if place % (count + 1) == 0 else place % (count + 1) - 1)


def _digit(pad: Pad, choices: Keypad, key: str) -> Pad:
    if pad.words:
        return replace(pad, words=(pad.words + key)[:MOST_LETTERS])
    if not choices.fields:
        number = int(key)
        return replace(pad, chosen=number - 1) if 0 < number <= len(choices.offers) else pad
    entry = "" if pad.entries[-1] in SPECIALS else pad.entries[-1]
    if len(entry.lstrip("-")) >= MOST_DIGITS:
        return pad
    return replace(pad, entries=(*pad.entries[:-1], entry + key), chosen=None)


def _left(pad: Pad, choices: Keypad, *, held: bool) -> tuple[Pad, str]:
    """Take back what was entered last; with nothing entered, say no where that is an answer."""
    if pad.words:
        return replace(pad, words=pad.words[:-1]), ""
    if pad.chosen is not None:
        return replace(pad, chosen=None), ""
    entry = pad.entries[-1]
    if entry:
        shorter = "" if entry in SPECIALS else entry[:-1]
        return replace(pad, entries=(*pad.entries[:-1], shorter)), ""
    if len(pad.entries) > 1:
        return replace(pad, entries=pad.entries[:-1]), ""
    if pad.opened is not None:
        return replace(pad, opened=None), ""
    return pad, "" if held else choices.no


def _enter(plan: Plan, state: State, pad: Pad, choices: Keypad, at: int) -> tuple[Pad, str]:
    if pad.words:
        return pad, pad.words
    if pad.chosen is not None:
        offer = choices.offers[pad.chosen]
        pad = replace(pad, chosen=None)
        if offer.entry:
            return replace(pad, entries=(*pad.entries[:-1], offer.entry)), ""
        if offer.opens is not None:
            return replace(pad, opened=offer, entries=("",)), ""
        return pad, offer.text
    if choices.fields and any(_filled(entry) for entry in pad.entries):
        return _next_field(plan, state, pad, choices.fields)
    wanted = READ_BACK_MS if choices.patient else SEEN_MS
    return pad, "" if at - pad.since < wanted and not choices.at_once else choices.plain


def _filled(entry: str) -> bool:
    return bool(entry.lstrip("-"))


def _next_field(plan: Plan, state: State, pad: Pad, fields: tuple[NumberField, ...]) -> tuple[Pad, str]:
    """Go on to the next field; from the last, or from an empty one, send the row as far as it goes."""
    if _filled(pad.entries[-1]) and len(pad.entries) < len(fields):
        return replace(pad, entries=(*pad.entries, "")), ""
    row = [(one, entry) for one, entry in zip(fields, pad.entries, strict=False) if _filled(entry)]
    if pad.opened is not None:
        return pad, f"{pad.opened.text} {shown(row[0][1], row[0][0].decimals)}"
    return pad, _row(plan, state, row)


def _row(plan: Plan, state: State, row: list[tuple[NumberField, str]]) -> str:
    """Return the words of a row of values: bare, or with names where bare they could be divided otherwise."""
    wanted = tuple(
        (one.quantity, entry if entry in SPECIALS else _number(entry, one.decimals)) for one, entry in row
    )
    ways = list(_ways(plan, row))
    grammar = plan.grammar(state.question, state.gate)
    for text in ways:
        choice = choose_typed(plan, grammar, text)
        if isinstance(choice.meaning, Values) and _bare(choice.meaning) == wanted and not choice.rivals:
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


__all__ = ["Offer", "Pad", "fields_of", "here", "press", "shown"]
