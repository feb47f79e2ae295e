"""Time and silence: when something is due, and how a question is asked again."""

from __future__ import annotations

from handsfree.procedure.phrases import asks_of
from handsfree.session import events as ev
from handsfree.session.draft import Draft
from handsfree.session.plan import Plan
from handsfree.session.state import State

CORRECTION_MS = 1_500
"""The ear stays open this long after a read-back."""

NO_INPUT_MS = 15_000
"""A question unanswered this long is asked again."""

MOST_REPROMPTS = 3

ALARM_MS = 60_000
"""At a firing gate no answer for this long is an alarm."""

GRACE_MS = 10_000
"""And this much later the visit stops."""

LONGEST_MARK_MS = 240_000
"""The second mark of a timing may take this long before it counts as silence."""

LONGEST_HOLD_MS = 300_000
"""A hold at a firing gate longer than this is an alarm too."""

LONG_HOLD_MS = 120_000
"""After a hold longer than this, burner, rate and every altered thing are asked again."""

_SILENT_KINDS = frozenset({"nothing", "stopped"})


def deadline(plan: Plan, state: State) -> int | None:
    """Return when the next thing is due if nothing is heard, in ms of the visit; None when nothing is."""
    if state.status not in {"running", "stopped"} or state.speaking:
        return None
    if state.question.kind in _SILENT_KINDS or state.status == "stopped":
        return None
    due = []
    firing = plan.gate(state.gate).gate.firing
    if state.held_since is not None:
        return _alarm_due(state, state.held_since + LONGEST_HOLD_MS) if firing else None
    if state.question.kind == "waiting":
        return state.until
    if not state.deaf:  # who is not heard is not silent
        if state.question.kind == "read-back" and not (state.cut_off or state.by_keys):
            due.append(state.asked_at + CORRECTION_MS)
        if state.attempt <= MOST_REPROMPTS and state.question.kind not in {"mark-last", "note"}:
            due.append(state.asked_at + NO_INPUT_MS)
    if firing:
        patience = LONGEST_MARK_MS if state.question.kind == "mark-last" else ALARM_MS
        due.append(_alarm_due(state, state.silent_since + patience))
    return min(due, default=None)


def _alarm_due(state: State, at: int) -> int:
    return at + GRACE_MS if state.alarmed else at


def time_passed(draft: Draft) -> None:
    """Act on a deadline that has come; a time before it does nothing."""
    state = draft.state
    due = deadline(draft.plan, state)
    if due is None or state.now < due:
        return
    kind = state.question.kind
    if kind == "waiting" and state.held_since is None:
        draft.gate_kind.time_up(draft)
        return
    firing = draft.placed.gate.firing
    held = state.held_since
    patience = LONGEST_MARK_MS if kind == "mark-last" else ALARM_MS
    alarm_at = held + LONGEST_HOLD_MS if held is not None else state.silent_since + patience
    if firing and state.now >= _alarm_due(state, alarm_at):
        _alarm_or_stop(draft)
    elif kind == "read-back" and not (state.cut_off or state.by_keys):
        draft.gate_kind.silence(draft)
    else:
        escalate(draft)


def _alarm_or_stop(draft: Draft) -> None:
    """Sound the alarm; when it was sounded already, stop. Silence is not yes."""
    if not draft.state.alarmed:
        draft.emit(ev.ToneSounded(name="alarm"))
        draft.say("answer-now")
        return
    hazard = draft.plan.catalogue.hazards["stop-work"]
    draft.stop("no-answer", "no answer while firing", hazard.script, "common practice, no source")


def escalate(draft: Draft) -> None:
    """Ask the question at hand again: shorter, then with an example, then digit by digit, then by keys.

    One that was cut off has not been heard, so it is asked in full.
    """
    state = draft.state
    if state.cut_off:
        draft.ask_over()
        return
    attempt = state.attempt + 1
    asks = asks_of(draft.placed.gate)
    values = bool(asks) and state.question.kind in {
        "gate",
        "read-back",
        "once-more",
        "digits",
        "which-value",
        "pair",
    }
    names = draft.names(
        ask.quantity for ask in asks if state.question.about in {"", ask.quantity} or len(asks) == 1
    )
    if attempt == 2:
        text = draft.words("ask-for", what=names) if values and state.question.kind != "digits" else state.text
    elif attempt == 3:
        grammar = draft.plan.grammar(state.question, state.gate)
        text = draft.words("say-like", example=grammar.example())
    elif attempt == 4 and values:
        text = draft.words("digit-by-digit", what=names)
    else:
        text = draft.words("keys")
    draft.ask(state.question.kind, text, state.question.about, attempt=attempt, until=state.until)
