"""Time and silence: when something is due, and how a question is asked again."""

from __future__ import annotations

from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.lexicon.catalogue import sentence_case
from handsfree.session.draft import Draft
from handsfree.session.plan import Plan

CORRECTION_MS = 1_500
"""An answer is listened for this long after a read-back."""

MOST_REPROMPTS = 3

GRACE_MS = 10_000
"""This much later than the alarm the visit stops."""

LONGEST_HOLD_MS = 300_000
"""A hold at a firing gate longer than this is an alarm too."""


def deadline(plan: Plan, state: State) -> int | None:
    """Return when the next thing is due if nothing is heard, in ms of the visit; None when nothing is."""
    manner = state.question.manner
    if state.status != "running" or state.speaking or manner.awaits == "nothing":
        return None
    firing = plan.gate(state.gate).gate.firing
    if state.held_since is not None:
        return _alarm_due(plan, state) if firing else None
    if manner.awaits == "time":
        return state.until
    due = []
    if not state.deaf:  # who is not heard is not silent
        if _accepts(state):
            due.append(state.asked_at + CORRECTION_MS)
        if state.attempt <= MOST_REPROMPTS and manner.asks_again:
            due.append(max(state.asked_at, _work_done(plan, state)) + manner.silence_ms)
    if firing:
        due.append(_alarm_due(plan, state))
    return min(due, default=None)


def _accepts(state: State) -> bool:
    """Say whether silence answers now: who reads and presses keys is not silent after so short a time."""
    return state.question.manner.silence_accepts and not (state.cut_off or state.by_keys)


def _work_done(plan: Plan, state: State) -> int:
    """Return until when nobody is expected to answer: they are at work, or were given more time."""
    work = plan.work_ms(state.gate) if state.question.manner.works else 0
    return max(state.silent_since + work, state.granted_until)


def alarm_at(plan: Plan, state: State) -> int:
    """Return when silence at a firing gate is an alarm, in ms of the visit: never before the work is done."""
    if state.held_since is not None:
        return max(state.held_since + LONGEST_HOLD_MS, state.granted_until)
    work = plan.work_ms(state.gate) if state.question.manner.works else 0
    return max(state.silent_since + work + state.question.manner.patience_ms, state.granted_until)


def _alarm_due(plan: Plan, state: State) -> int:
    at = alarm_at(plan, state)
    return at + GRACE_MS if state.alarmed else at


def time_passed(draft: Draft) -> None:
    """Act on a deadline that has come; a time before it does nothing."""
    state, manner = draft.state, draft.state.question.manner
    due = deadline(draft.plan, state)
    if due is None or state.now < due:
        return
    if manner.awaits == "time" and state.held_since is None:
        draft.gate.time_up(draft)
    elif draft.gate.firing and state.now >= _alarm_due(draft.plan, state):
        _alarm_or_stop(draft)
    elif _accepts(state):
        draft.gate.silence(draft)
    else:
        escalate(draft)


def _alarm_or_stop(draft: Draft) -> None:
    """Sound the alarm; when it was sounded already, stop, and say who is to be told. Silence is not yes."""
    if not draft.state.alarmed:
        draft.emit(ev.ToneSounded(name="alarm"))
        draft.say("answer-now")
        return
    _stop_unanswered(draft, "no-answer", "no answer while firing")


def link_lost(draft: Draft) -> None:
    """Stop what fires when the line to the person is lost: nobody can tell what happens there."""
    if draft.state.status == "running" and draft.gate.firing:
        _stop_unanswered(draft, "link-lost", "the phone's sound was lost while firing")


def _stop_unanswered(draft: Draft, why: str, detail: str) -> None:
    hazard = draft.catalogue.hazards["stop-work"]
    draft.stop(why, detail, hazard.script, "common practice, no source", by="silence", hazard="stop-work")
    alert = draft.plan.sheets.job.alert
    if alert is not None:
        draft.emit(ev.Alerted(at=draft.at, gate=draft.state.gate, who=alert.who, number=alert.number))
        draft.say("call-for", who=alert.who, number=alert.number)


def escalate(draft: Draft) -> None:
    """Ask the question at hand again: shorter, then with an example, then digit by digit, then by keys.

    Answers that the question has not named are named; no example is one answer of several, which would suggest it.
    A question that was cut off has not been heard, so it is asked in full.
    """
    state, question = draft.state, draft.state.question
    if state.cut_off:
        draft.ask_over()
        return
    attempt = state.attempt + 1
    called = question.called(draft.plan.scope(state.gate))
    if attempt == 2:
        again = called and not question.manner.spells
        text = draft.words("ask-for", what=draft.names(called)) if again else _answers_named(draft)
    elif attempt == 3:
        text = draft.words("say-like", example=_either(draft))
    elif attempt == 4 and called:
        text = draft.words("digit-by-digit", what=draft.names(called))
    else:
        text = draft.words("keys")
    draft.ask(question, text, attempt=attempt, until=state.until)


def _answers_named(draft: Draft) -> str:
    """Return the question at hand with its answers, where it did not name them all itself."""
    state, catalogue = draft.state, draft.catalogue
    examples = draft.plan.grammar(state.question, state.gate).examples()
    asked = f" {catalogue.as_heard(state.text)} "
    if not state.question.manner.names_answers or all(f" {one} " in asked for one in examples):
        return state.text
    return draft.words("named", asked=state.text, answers=sentence_case(_either(draft)))


def _either(draft: Draft) -> str:
    """Return what could be said now, all of it where a person may choose."""
    *others, last = draft.plan.grammar(draft.state.question, draft.state.gate).examples()
    return draft.words("either", first=", ".join(others), last=last) if others else last
