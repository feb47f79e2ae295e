"""Whoever asked takes the answer: the gate at hand, or one of the conversations that a visit has at any gate."""

from __future__ import annotations

from typing import assert_never

from handsfree.events import decisions as ev
from handsfree.gates.visit import Understanding, said_back
from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.questions.put_back import PutBack
from handsfree.questions.thing_check import ThingCheck
from handsfree.session import putting_back, turning, witnessing
from handsfree.session.draft import Draft
from handsfree.session.rechecking import recheck_read_back, rechecked


def answered(draft: Draft, meaning: Meaning, utterance: Understanding) -> bool:
    """Hand an answer to whoever asked; False when it is none to that."""
    question = draft.state.question
    match question.manner.asker:
        case "gate":
            return draft.gate.hear(draft, meaning, utterance)
        case "note":
            return _noted(draft, meaning, utterance)
        case "recheck":
            return _rechecked(draft, meaning)
        case "need":
            return _need(draft, meaning)
        case "putting-back":
            assert isinstance(question, PutBack | ThingCheck)
            if draft.state.rechecks and isinstance(question, ThingCheck):
                return recheck_read_back(draft, meaning)
            return putting_back.hear(draft, question, meaning, utterance)
        case "turning":
            return turning.hear(draft, meaning, utterance)
        case "witness":
            return witnessing.hear(draft, meaning, utterance)
        case "stop":
            return False
        case asker:
            assert_never(asker)


def _rechecked(draft: Draft, meaning: Meaning) -> bool:
    """Take the state of what is asked again after an interruption."""
    if isinstance(meaning, Answer):
        rechecked(draft, meaning.name)
    return isinstance(meaning, Answer)


def _consented(draft: Draft, meaning: Meaning) -> bool:
    """Take whether the sound is kept, then open the first gate."""
    if meaning not in {Answer("affirm"), Answer("deny")}:
        return False
    kept = meaning == Answer("affirm")
    draft.emit(ev.SoundConsent(at=draft.at, kept=kept))
    draft.say("sound-kept" if kept else "sound-not-kept")
    draft.open()
    return True


def _noted(draft: Draft, meaning: Meaning, utterance: Understanding) -> bool:
    """Keep the note and lead back to the question that it interrupted."""
    back = draft.state.interrupted
    if meaning != Answer("talk") or back is None:
        return False
    draft.emit(ev.Noted(at=draft.at, text=utterance.text, sound=utterance.sound))
    draft.say("noted")
    said_back(draft, utterance)
    draft.ask_interrupted(back)
    return True


def _need(draft: Draft, meaning: Meaning) -> bool:
    """Take the state of a thing that the gate needs first, or whether the sound is kept."""
    if draft.state.consent_due:
        return _consented(draft, meaning)
    unmet = draft.unmet()
    if unmet is None or not isinstance(meaning, Answer):
        return False
    name, wanted = unmet
    thing, altered = draft.things[name], meaning.name == "altered"
    if (thing.altered == wanted) != altered:
        draft.ask_again()
    elif altered:
        draft.emit(ev.Altered(at=draft.at, thing=name, gate=draft.state.gate))
        draft.open()
    elif thing.value is not None:
        draft.ask_to_put_back([name])
    else:
        putting_back.read_back_restored(draft, name)
    return True
