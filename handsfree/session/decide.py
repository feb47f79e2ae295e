"""`decide`: what follows from one input. Pure: the plan, the state and the input in, events out.

The order of precedence is fixed: stop and hazard phrases, then the state of the visit (stopped, on hold,
speaking), then the everywhere phrases, then the gate at hand.
"""

from __future__ import annotations

from typing import Any

from handsfree.lexicon.meaning import Answer, Command, HazardSaid, Meaning, Values, Wrong
from handsfree.procedure.model import FinishGate, ReadingsGate, RestoreGate, StopGate, VerdictGate
from handsfree.session import events as ev
from handsfree.session import inputs as inp
from handsfree.session.asking import deadline, escalate, time_passed
from handsfree.session.draft import Draft
from handsfree.session.everywhere import command, recheck, recheck_read_back, rechecked, taken_back
from handsfree.session.fusion import Choice, choose, choose_typed, describe
from handsfree.session.gates import KINDS
from handsfree.session.gates.readings import lose_rate
from handsfree.session.gates.restore import ask_next_restore, hear_restore, read_back_restored
from handsfree.session.gates.values import over_range, spoken_value
from handsfree.session.plan import Plan
from handsfree.session.state import EARS, State, apply
from handsfree.session.utterance import Utterance

__all__ = ["after", "deadline", "decide"]


def decide(plan: Plan, state: State, event: inp.Input) -> tuple[ev.Record, ...]:
    """Return the events that follow from an input (the input itself is not among them)."""
    if state.status == "closed":
        return ()
    draft = Draft(plan, apply(plan, state, event), KINDS)
    match event:
        case inp.Heard() | inp.Typed():
            _words(draft, event)
        case inp.TimePassed():
            time_passed(draft)
        case inp.DeviceLost(device=device) if device in EARS:
            _ears_changed(draft, f"{device}-lost")
        case inp.DeviceFound(device=device) if device in EARS and not draft.state.deaf:
            _ears_changed(draft, "hearing-again")
        case inp.SoundPoor(fault=fault):
            if draft.state.status == "running":
                draft.say(f"sound-{fault}")
        case inp.Resumed():
            _resumed(draft)
        case _:
            pass
    return tuple(draft.events)


def after(plan: Plan, state: State, events: tuple[Any, ...]) -> State:
    """Return the state after the events."""
    for event in events:
        state = apply(plan, state, event)
    return state


def _ears_changed(draft: Draft, saying: str) -> None:
    """Tell it, then the question that it took the place of; a script that stops the work is never spoken over."""
    if draft.state.status == "running":
        draft.say(saying)
        draft.ask_over()


def _resumed(draft: Draft) -> None:
    last = draft.state.last_accepted
    if last is not None:
        draft.say("last-accepted", what=f"{draft.plan.name(last.quantity)} {spoken_value(draft, last)}")
    if draft.state.status == "stopped":
        draft.say("stopped")
        draft.ask("stopped", "")
        return
    recheck(draft)


def _words(draft: Draft, event: inp.Heard | inp.Typed) -> None:
    state = draft.state
    over_voice = isinstance(event, inp.Heard) and event.over_voice
    grammar = draft.plan.stop_grammar if over_voice else draft.plan.grammar(state.question, state.gate)
    if isinstance(event, inp.Heard):
        choice = choose(draft.plan, state, grammar, event)
        sound, onset, text = event.sound, choice.onset, ""
    else:
        choice = choose_typed(draft.plan, grammar, event.text)
        sound, onset, text = None, event.at, event.text
    if choice.meaning is None:
        if not over_voice and state.held_since is None:
            _not_understood(draft, choice)
        return
    doubt = choice.doubt
    values = choice.meaning.values if isinstance(choice.meaning, Values) else ()
    draft.emit(ev.Understood(meaning=describe(choice.meaning), doubt=doubt))
    utterance = Utterance(onset, doubt, choice.rivals, sound, text, values, choice.slight, choice.words)
    _act(draft, choice.meaning, utterance)


def _act(draft: Draft, meaning: Meaning, utterance: Utterance) -> None:
    if isinstance(meaning, HazardSaid):
        _hazard(draft, meaning.name)
    elif draft.state.status == "running" and over_range(draft, (meaning, *utterance.rivals)):
        pass
    elif utterance.doubt and _must_be_sure(draft, meaning):
        _not_understood(draft, Choice(None, why=f"in doubt: {utterance.doubt}"))
    elif draft.state.status == "stopped":
        _while_stopped(draft, meaning, utterance)
    elif draft.state.held_since is not None:
        _while_held(draft, meaning, utterance)
    elif draft.state.cut_off and meaning == Answer("affirm"):
        draft.ask_over()  # nobody can confirm what was not said to its end
    elif isinstance(meaning, Command):
        command(draft, meaning.name, utterance)
    elif isinstance(meaning, Wrong):
        taken_back(draft, meaning.quantity)
    elif not _answer(draft, meaning, utterance):
        _not_understood(draft, Choice(None, why="no answer to this", rivals=(meaning,)))


_SURE = frozenset(
    {
        "read-back",
        "thing-check",
        "done-check",
        "turn-check",
        "finish-check",
        "cleared-check",
        "close-check",
        "answer-check",
        "rate",
        "recheck-burner",
        "recheck-rate",
        "recheck-thing",
        "thing-first",
    }
)
"""Questions whose answer counts at once."""


def _must_be_sure(draft: Draft, meaning: Meaning) -> bool:
    """Say whether a doubtful hearing is asked again: what counts at once, leaves a gate undone, or ends a hold."""
    if meaning in {Command("not-done"), Command("carry-on")}:
        return True
    sure_side = meaning in {Answer("deny"), Answer("dropped-back"), Answer("cleared"), Answer("close")}
    return isinstance(meaning, Answer) and not sure_side and draft.expected().kind in _SURE


def _while_held(draft: Draft, meaning: Meaning, utterance: Utterance) -> None:
    """On hold only the way on is taken, and that the rate is lost: it must not be forgotten."""
    if meaning == Command("carry-on"):
        command(draft, "carry-on", utterance)
    elif meaning == Answer("dropped-back"):
        draft.gate_kind.hear(draft, meaning, utterance)


def _answer(draft: Draft, meaning: Meaning, utterance: Utterance) -> bool:  # noqa: PLR0911 - one for each asker
    """Hand an answer to whoever asked: a note, a recheck, an unmet need, or the gate."""
    kind = draft.expected().kind
    if kind == "note" and meaning == Answer("talk"):
        draft.emit(ev.Noted(at=draft.at, text=utterance.text, sound=utterance.sound))
        draft.say("noted")
        assert draft.state.returns is not None
        question, text, until = draft.state.returns
        draft.ask(question.kind, "" if question.kind == "waiting" else text, question.about, until=until)
        return True
    if kind.startswith("recheck-") and isinstance(meaning, Answer):
        rechecked(draft, meaning.name)
        return True
    if kind == "thing-check" and draft.state.rechecks:
        return recheck_read_back(draft, meaning)
    if kind == "thing-first":
        return _need(draft, meaning)
    if kind in {"restore", "thing-check"} and not isinstance(draft.placed.gate, RestoreGate | FinishGate):
        return hear_restore(draft, meaning, Draft.open)
    if _ambiguous(draft, meaning, utterance):
        return True
    return draft.gate_kind.hear(draft, meaning, utterance)


def _need(draft: Draft, meaning: Meaning) -> bool:
    """Take the state of a thing that the gate needs first."""
    unmet = draft.unmet()
    if unmet is None or not isinstance(meaning, Answer):
        return False
    thing, wanted = unmet
    altered = meaning.name == "altered"
    if (draft.plan.things[thing].altered == wanted) != altered:
        draft.ask_again()
        return True
    if not altered and draft.plan.things[thing].value is not None:
        return ask_next_restore(draft, [thing])
    if not altered:
        read_back_restored(draft, thing)
        return True
    draft.emit(ev.Altered(at=draft.at, thing=thing, gate=draft.state.gate))
    draft.open()
    return True


def _ambiguous(draft: Draft, meaning: Meaning, utterance: Utterance) -> bool:
    """Ask which, when the same words may call either of two quantities ("CO two eight")."""
    apart = draft.plan.trade.asked_apart
    if not isinstance(meaning, Values) or len(meaning.values) != 1:
        return False
    others = [rival for rival in utterance.rivals if isinstance(rival, Values) and len(rival.values) == 1]
    quantities = {meaning.values[0][0], *(rival.values[0][0] for rival in others)}
    asking = {"gate", "read-back", "monoxide"}
    if apart is not None and quantities == apart.quantities and draft.expected().kind in asking:
        draft.ask("monoxide", draft.words(apart.saying))
        return True
    return False


def _hazard(draft: Draft, name: str) -> None:
    """Act at the first hearing. What goes out at a held rate only voids the set, the first time."""
    hazard = draft.plan.catalogue.hazards[name]
    gate = draft.placed.gate
    running = draft.plan.trade.running
    goes_out = running is not None and name == running.goes_out
    first = draft.state.status == "running" and goes_out and draft.state.burner_outs == 0
    if first and isinstance(gate, ReadingsGate) and gate.dropped_back is not None:
        draft.emit(ev.BurnerWentOut(at=draft.at, gate=draft.state.gate))
        draft.tell(hazard.script)
        lose_rate(draft, "the burner went out")
        return
    draft.stop(name, "called by the person", hazard.script, hazard.source)


def _while_stopped(draft: Draft, meaning: Meaning, utterance: Utterance) -> None:
    kind = draft.expected().kind
    if meaning == Answer("cleared"):
        draft.ask("cleared-check", draft.words("cleared-check"), utterance.sound or utterance.text)
    elif meaning == Answer("close"):
        draft.ask("close-check", draft.words("close-check"))
    elif kind == "cleared-check" and meaning == Answer("affirm"):
        reason = draft.expected().about
        is_sound = len(reason) == 64
        draft.emit(
            ev.Cleared(
                at=draft.at,
                gate=_goes_on_at(draft),
                reason="" if is_sound else reason,
                sound=reason if is_sound else None,
            )
        )
        recheck(draft)
    elif kind == "close-check" and meaning == Answer("affirm"):
        if draft.state.altered:
            names = ", ".join(draft.plan.things[thing].said for thing in draft.state.altered)
            draft.say("still-altered", things=names)
        draft.close("stopped")
    elif kind in {"cleared-check", "close-check"}:
        draft.ask("stopped", draft.words("stopped"))


def _goes_on_at(draft: Draft) -> str:
    """Return where a cleared visit goes on: never at a stop gate, which would only stop it again."""
    if not isinstance(draft.placed.gate, StopGate):
        return draft.state.gate
    asked = [g for g in draft.state.passed if not isinstance(draft.plan.gate(g).gate, VerdictGate)]
    return asked[-1] if asked else draft.plan.procedure.first


def _not_understood(draft: Draft, choice: Choice) -> None:
    """Count it, and ask again in the next, more helpful way; while waiting, held or stopped, just count it."""
    early = ", and the wait is not over" if draft.expected().kind == "waiting" else ""
    draft.emit(ev.NotUnderstood(why=choice.why + early))
    if draft.state.held_since is not None or _offered(draft, choice):
        return
    if draft.expected().kind not in {"waiting", "nothing", "stopped"}:
        escalate(draft)


OFFERED_FROM = 4
"""The attempt from which the likeliest candidate is offered for a yes or no."""


def _offered(draft: Draft, choice: Choice) -> bool:
    """Offer what may have been said, for a yes or no, when the shorter ways of asking have failed."""
    candidate = next((one for one in choice.rivals if isinstance(one, Answer | Values)), None)
    state = draft.state
    if candidate is None or state.attempt < OFFERED_FROM or state.question.kind not in {"gate", "which-value"}:
        return False
    values = candidate.values if isinstance(candidate, Values) else ()
    utterance = Utterance(draft.at, choice.why, choice.rivals[1:], values=values)
    return draft.gate_kind.hear(draft, candidate, utterance)
