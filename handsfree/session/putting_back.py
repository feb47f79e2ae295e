"""Putting things back: each asked for, answered by its state or proven by its value, and read back."""

from __future__ import annotations

from decimal import Decimal

from handsfree.events import decisions as ev
from handsfree.gates.value import spoken_value
from handsfree.gates.visit import Understanding
from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Answer, InUnit, Meaning, Number, Values
from handsfree.questions.put_back import PutBack
from handsfree.questions.thing_check import ThingCheck
from handsfree.session.draft import Draft


def hear(draft: Draft, question: PutBack | ThingCheck, meaning: Meaning, utterance: Understanding) -> bool:
    """Act on an answer while a thing is being put back; False when it is no answer to that.

    Its name with its state restores it at once; a state alone could be a stray word, so it is read back.
    """
    if isinstance(question, ThingCheck):
        return _checked(draft, question, meaning)
    if isinstance(meaning, Values):
        value = meaning.values[0][1]
        if isinstance(value, Decimal | InUnit):
            _value_called(draft, question.thing, value)
        return isinstance(value, Decimal | InUnit)
    if meaning == Answer("restored"):
        if not utterance.doubt and draft.things[question.thing].named_in(utterance.words):
            draft.emit(ev.Restored(at=draft.at, thing=question.thing, gate=draft.state.gate))
            draft.open()
        else:
            read_back_restored(draft, question.thing)
        return True
    if meaning == Answer("altered"):
        thing = draft.things[question.thing]
        draft.say("thing-not-back", thing=sentence_case(thing.said), state=thing.restored)
        draft.ask_to_put_back([question.thing])
        return True
    return False


def _checked(draft: Draft, question: ThingCheck, meaning: Meaning) -> bool:
    if not isinstance(meaning, Answer):
        return False
    if meaning.name != "affirm":
        draft.ask_to_put_back([question.thing])
        return True
    quantity = draft.things[question.thing].value
    proven = question.value is not None and quantity is not None
    called = Decimal(str(question.value)) if proven else Decimal(0)
    number = InUnit(called, question.unit) if question.unit else called
    reading = draft.record_of(str(quantity), number) if proven else None
    draft.emit(ev.Restored(at=draft.at, thing=question.thing, gate=draft.state.gate, reading=reading))
    draft.open()
    return True


def read_back_restored(draft: Draft, name: str) -> None:
    """Read back that a thing was called restored: one word alone restores nothing, it could be a stray one."""
    thing = draft.things[name]
    text = draft.words("thing-check", thing=sentence_case(thing.said), state=thing.restored)
    draft.ask(ThingCheck(thing=name), text)


def _value_called(draft: Draft, name: str, called: Number) -> None:
    """Read the called setting back; one that is not as found is refused, whatever unit either was called in."""
    thing = draft.things[name]
    record, found = draft.record_of(str(thing.value), called), draft.state.found.get(name)
    if found is not None and Decimal(found.value) != Decimal(record.value):
        draft.say("value-not-back", value=spoken_value(draft, found))
        draft.ask_to_put_back([name])
        return
    text = draft.words("thing-check", thing=sentence_case(thing.said), state=spoken_value(draft, record))
    draft.ask(ThingCheck(thing=name, value=record.shown[0], unit=record.called_unit), text)
