"""Putting things back: each asked for, answered by its state or proven by its value, and read back."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal

from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Answer, Meaning, Values
from handsfree.procedure.model import RestoreGate
from handsfree.procedure.procedure import DONE
from handsfree.session import events as ev
from handsfree.session.draft import Draft, GateKind
from handsfree.session.utterance import Utterance


class RestoreGates(GateKind):
    """Asks for each thing of its list that is still altered, one by one."""

    def open(self, draft: Draft) -> None:
        """Ask for the next thing, or pass when none is left."""
        gate = draft.placed.gate
        assert isinstance(gate, RestoreGate)
        if not ask_next_restore(draft, [thing for thing in gate.things if thing in draft.state.altered]):
            draft.pass_gate(DONE)

    def hear(self, draft: Draft, meaning: Meaning, utterance: Utterance) -> bool:  # noqa: ARG002
        """Take the state or the value of the thing asked for, then its confirmation."""
        return hear_restore(draft, meaning, self.open)


def ask_next_restore(draft: Draft, things: Iterable[str]) -> bool:
    """Ask for the first of the things; False when there is none."""
    for name in things:
        draft.ask("restore", draft.words("thing-now", thing=sentence_case(draft.plan.things[name].said)), name)
        return True
    return False


def hear_restore(draft: Draft, meaning: Meaning, then: Callable[[Draft], None]) -> bool:
    """Act on an answer while a thing is being put back; False when it is no answer to that."""
    question = draft.expected()
    if question.kind == "restore" and isinstance(meaning, Answer) and meaning.name in {"restored", "altered"}:
        if meaning.name == "restored":
            read_back_restored(draft, question.about)
        else:
            thing = draft.plan.things[question.about]
            draft.say("thing-not-back", thing=sentence_case(thing.said), state=thing.restored)
            ask_next_restore(draft, [question.about])
        return True
    if question.kind == "restore" and isinstance(meaning, Values):
        value = meaning.values[0][1]
        if isinstance(value, Decimal):
            _value_called(draft, question.about, value)
            return True
        return False
    if question.kind == "thing-check" and isinstance(meaning, Answer):
        name, _, proven = question.about.partition("=")
        if meaning.name == "affirm":
            thing = draft.plan.things[name]
            reading = None
            if proven and thing.value:
                reading = ev.ReadingRecord(**draft.plan.reading(thing.value, Decimal(proven)).to_record())
            draft.emit(ev.Restored(at=draft.at, thing=name, gate=draft.state.gate, reading=reading))
            then(draft)
        else:
            ask_next_restore(draft, [name])
        return True
    return False


def read_back_restored(draft: Draft, name: str) -> None:
    """Read back that a thing was called restored: one word alone restores nothing, it could be a stray one."""
    thing = draft.plan.things[name]
    text = draft.words("thing-check", thing=sentence_case(thing.said), state=thing.restored)
    draft.ask("thing-check", text, name)


def _value_called(draft: Draft, name: str, value: Decimal) -> None:
    thing = draft.plan.things[name]
    found = draft.state.found.get(name)
    if found is not None and Decimal(found.value) != value:
        draft.say("value-not-back", value=draft.plan.numbers.digits(Decimal(found.value)))
        ask_next_restore(draft, [name])
        return
    text = draft.words("thing-check", thing=sentence_case(thing.said), state=draft.plan.numbers.digits(value))
    draft.ask("thing-check", text, f"{name}={value:f}")
