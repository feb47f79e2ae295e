"""What can be answered with a glove: at each question of a visit, what each key gives.

Only space, enter, the arrows and digits are used. Enter alone says the plain answer where there is one and
nothing can go wrong by it; anything else is first chosen with an arrow, so that a bumped key or a foot switch
can neither pick among answers nor say that a thing is put back.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from handsfree.procedure.model import ChoiceGate, ConfirmGate, ReadingsGate, TimedGate
from handsfree.procedure.phrases import asks_of, thing_ask
from handsfree.procedure.procedure import DROPPED_BACK, NOT_DONE
from handsfree.session.plan import Plan
from handsfree.session.state import State

CHECKS = frozenset(
    {"read-back", "thing-check", "done-check", "turn-check", "answer-check", "finish-check", "cleared-check"}
    | {"close-check"}
)
"""Questions that a bare "confirmed" answers."""

PATIENT = frozenset({"done-check", "thing-check", "finish-check", "cleared-check", "close-check"})
"""Read-backs of what ends an alteration, the visit or a stop: never confirmed by the key press before them."""

MARKS = frozenset({"mark-first", "mark-last"})


@dataclass(frozen=True)
class Field:
    """A number to be entered by digits alone: the point stands where the instrument shows it."""

    quantity: str
    name: str
    unit: str
    decimals: int
    signed: bool


@dataclass(frozen=True)
class Offer:
    """Something that is chosen with the arrows: words to send, an entry for the field, or a field to open."""

    label: str
    text: str = ""
    entry: str = ""
    """"over range", "no reading" or "-", put into the field at hand."""
    opens: Field | None = None
    """A field whose value is sent after `text`."""


@dataclass(frozen=True)
class Answers:
    """What the keys give at a question."""

    plain: str = ""
    """What enter alone says; empty when it says nothing."""
    no: str = ""
    """What the left arrow says; empty when it says nothing."""
    fields: tuple[Field, ...] = ()
    offers: tuple[Offer, ...] = ()


def answers(plan: Plan, state: State) -> Answers:  # noqa: PLR0911 - one case for each kind of moment
    """Return what the keys give now."""
    if state.status == "closed" or state.gate not in plan.procedure.gates:
        return Answers()
    words, kind = plan.catalogue.answers, state.question.kind
    offers = tuple(_offers(plan, state))
    if state.status == "stopped" and kind not in CHECKS:
        return Answers(offers=offers)
    if state.held_since is not None:
        return Answers(offers=offers)
    if kind in CHECKS:
        return Answers(plain=words["affirm"][0], no=words["deny"][0], offers=offers)
    if kind in MARKS:
        return Answers(plain=words["mark"][0], offers=offers)
    gate = plan.gate(state.gate).gate
    if kind == "gate" and isinstance(gate, ConfirmGate):
        return Answers(plain=gate.done[0], offers=offers)
    return Answers(fields=tuple(_fields(plan, state)), offers=offers)


def _fields(plan: Plan, state: State) -> Iterator[Field]:
    """Yield the numbers that the question asks for, in their order."""
    gate, question = plan.gate(state.gate).gate, state.question
    match question.kind:
        case "gate" | "once-more" | "digits" | "which-value":
            several = question.kind == "which-value" and not question.about
            asked = () if several else asks_of(gate)
        case "pair":
            asked = tuple(ask for ask in asks_of(gate) if ask.quantity in {"co2", "o2"})
        case "restore" if plan.things[question.about].value is not None:
            asked = (thing_ask(plan.things[question.about]),)
        case _:
            asked = ()
    for ask in asked:
        if question.kind in {"gate", "pair", "restore"} or question.about in {"", ask.quantity}:
            yield field_of(plan, ask.quantity, ask.decimals)


def field_of(plan: Plan, quantity: str, decimals: int | None = None) -> Field:
    """Return the field of a quantity, with its name, unit and the digits after the point."""
    known = plan.catalogue.quantities[quantity]
    places = known.decimals if decimals is None else decimals
    return Field(quantity, known.said, plan.catalogue.units[known.unit].said, places, known.low < 0)


def _offers(plan: Plan, state: State) -> Iterator[Offer]:
    words = plan.catalogue.answers
    checked = state.question.kind in CHECKS
    if checked:
        yield Offer(words["deny"][0], words["deny"][0])
    if state.status == "stopped":
        yield from () if checked else _when_stopped(plan)
        return
    if state.held_since is not None:
        yield _everywhere(plan, "carry-on")
        yield from _dropped_back(plan, state)
        return
    turns = list(_turns(plan, state))
    half = len(turns) // 2
    yield from turns[:half]
    yield from _own(plan, state)
    yield from _anywhere(plan, state)
    yield from reversed(turns[half:])


def _when_stopped(plan: Plan) -> Iterator[Offer]:
    words = plan.catalogue.answers
    yield Offer(words["close"][0], words["close"][0])
    for reason in plan.catalogue.glance.cleared:
        text = f"{words['cleared'][0]} {reason}"
        yield Offer(text, text)


def _turns(plan: Plan, state: State) -> Iterator[Offer]:
    """Yield the turns: clockwise growing downward from the top, the other way growing upward from the end."""
    if state.question.kind not in {"turn", "turn-check"}:
        return
    for direction in ("clockwise", "counter-clockwise"):
        for eighths, texts in plan.catalogue.turns.items():
            if eighths:
                said = plan.catalogue.answers[direction][0]
                yield Offer(f"{said}, {texts[0]}", f"{said} {texts[0]}")


def _own(plan: Plan, state: State) -> Iterator[Offer]:  # noqa: C901, PLR0912 - one case for each question
    """Yield the answers of the question itself."""
    gate, question, words = plan.gate(state.gate).gate, state.question, plan.catalogue.answers
    fields = tuple(_fields(plan, state))
    if fields and question.kind != "restore":
        yield from (Offer(words[name][0], entry=name.replace("-", " ")) for name in ("over-range", "no-reading"))
    if any(field.signed for field in fields):
        yield Offer(plan.catalogue.show("minus"), entry="-")
    match question.kind:
        case "gate" if isinstance(gate, ChoiceGate):
            yield from (Offer(answer.heard[0], answer.heard[0]) for answer in gate.answers.values())
        case "turn" | "turn-check":
            yield Offer(plan.catalogue.turns[0][0], plan.catalogue.turns[0][0])
        case "rate" | "recheck-rate":
            yield from (Offer(texts[0], texts[0]) for texts in plan.catalogue.rates.values())
        case "recheck-burner":
            yield from (Offer(words[name][0], words[name][0]) for name in ("firing", "off"))
        case "monoxide":
            yield from (Offer(words[name][0], words[name][0]) for name in ("affirm", "deny"))
        case "thing-first" | "restore" | "recheck-thing" if not fields:
            thing = plan.things[question.about]
            yield from (Offer(text, text) for text in (thing.restored, thing.altered))
        case "note":
            yield Offer(plan.catalogue.show("no-note"), plan.catalogue.show("no-note"))
        case "read-back" if len(state.pending.values) > 0:
            for quantity in state.pending.values:
                yield _corrects(plan, state, quantity, f"{words['deny'][0]} {_name(plan, quantity)}")
        case "which-value" if not question.about:
            yield from (_corrects(plan, state, ask.quantity, _name(plan, ask.quantity)) for ask in asks_of(gate))
        case _:
            pass
    yield from _dropped_back(plan, state)


def _name(plan: Plan, quantity: str) -> str:
    return max(plan.catalogue.quantities[quantity].heard, key=lambda name: len(name.split()))


def _corrects(plan: Plan, state: State, quantity: str, text: str) -> Offer:
    asked = {ask.quantity: ask.decimals for ask in asks_of(plan.gate(state.gate).gate)}
    opened = field_of(plan, quantity, asked.get(quantity))
    return Offer(plan.catalogue.show("other-value", what=opened.name), text, opens=opened)


def _dropped_back(plan: Plan, state: State) -> Iterator[Offer]:
    if DROPPED_BACK in plan.gate(state.gate).ways:
        text = plan.catalogue.answers["dropped-back"][0]
        yield Offer(text, text)


def _anywhere(plan: Plan, state: State) -> Iterator[Offer]:
    """Yield what can be said at any moment; CO over range first where the burner fires."""
    gate = plan.gate(state.gate).gate
    if gate.firing:
        name, beyond = plan.catalogue.quantities["co"].heard[0], plan.catalogue.answers["over-range"][0]
        yield Offer(f"{plan.name('co')} {beyond}", f"{name} {beyond}")
    names = ["repeat", "hold-on", "what-is-left", "where-am-i"]
    if not state.rechecks:
        names += ["that-was-wrong", "go-back"] if isinstance(gate, ReadingsGate | TimedGate) else ["go-back"]
    yield from (_everywhere(plan, name) for name in names)
    if not state.rechecks and NOT_DONE in plan.gate(state.gate).ways:
        for reason in plan.catalogue.glance.not_done:
            text = f"{plan.catalogue.everywhere['not-done'][0]} {reason}"
            yield Offer(text, text)


def _everywhere(plan: Plan, name: str) -> Offer:
    text = plan.catalogue.everywhere[name][0]
    return Offer(text, text)
