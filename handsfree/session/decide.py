"""`decide`: what follows from one input. Pure: the plan, the state and the input in, events out.

The order of precedence is fixed: stop and hazard phrases, then the state of the visit (stopped, on hold,
speaking), then the everywhere phrases, then the gate at hand.
"""

from __future__ import annotations

from typing import assert_never

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.devices import HANDS, HEARING_DEVICES, INSTRUMENT, LINK
from handsfree.events.state import State
from handsfree.gates.outcomes import DROPPED_BACK
from handsfree.gates.value import spoken_value
from handsfree.gates.visit import Understanding
from handsfree.lexicon.grammar import UNKNOWN_WORD, Grammar
from handsfree.lexicon.meaning import (
    Answer,
    Command,
    Correction,
    HazardSaid,
    Meaning,
    Spelled,
    TurnMade,
    Values,
    Wrong,
)
from handsfree.questions.alike_quantities import AlikeQuantities
from handsfree.questions.rules import ordinary_words
from handsfree.session import after_stop, photographing, witnessing
from handsfree.session.answering import answered
from handsfree.session.apply import apply
from handsfree.session.draft import Draft
from handsfree.session.everywhere import command, taken_back
from handsfree.session.fusion import Interpretation, choose, choose_typed, describe
from handsfree.session.plan import Plan
from handsfree.session.rechecking import recheck
from handsfree.session.signing import signed
from handsfree.session.silence import escalate, link_lost, time_passed
from handsfree.session.stops import called_over_range


def decide(plan: Plan, state: State, event: inp.Input) -> tuple[ev.Decision, ...]:
    """Return the events that follow from an input (the input itself is not among them)."""
    return tuple(one for one, _ in steps(plan, state, event))


Decided = tuple[ev.Decision, State]


def steps(plan: Plan, state: State, event: inp.Input) -> tuple[Decided, ...]:  # noqa: PLR0912 - a case a kind
    """Return the events that follow from an input, as `decide` does, each with the state after it."""
    if state.status == "closed":
        return ()
    draft = Draft(plan, apply(plan, state, event))
    match event:
        case inp.Heard() | inp.Typed():
            _words(draft, event)
        case inp.TimePassed():
            time_passed(draft)
        case inp.DeviceLost() | inp.DeviceFound():
            _input_changed(draft, event, told=state.instrument_told)
        case inp.SoundPoor():
            if draft.state.status == "running":
                draft.say(f"sound-{event.fault}")
        case inp.Resumed(approval_fault=fault):
            _resumed(draft, gone=bool(fault))
        case inp.SignatureDrawn():
            signed(draft, event, state)
        case inp.PhotoTaken():
            photographing.taken(draft, event, state)
        case inp.InstrumentRow():
            witnessing.row_came(draft, event)
        case inp.SpeechEnded():
            pass
        case _:
            assert_never(event)
    if LINK in draft.state.lost:  # lost here, or before something fires
        link_lost(draft)
    return tuple(zip(draft.events, draft.states, strict=True))


def _input_changed(draft: Draft, event: inp.DeviceLost | inp.DeviceFound, *, told: bool) -> None:
    """Tell it, then the question that it took the place of; a script that stops the work is never spoken over.

    That an instrument is silent is told once in a visit (`told`); that it shows something again, not at all.
    """
    if draft.state.status != "running" or event.device not in HEARING_DEVICES | HANDS | {INSTRUMENT}:
        return
    if event.device == INSTRUMENT and (told or isinstance(event, inp.DeviceFound)):
        return
    if isinstance(event, inp.DeviceLost):
        draft.say(f"{event.device}-lost")
    elif event.device in HANDS:
        draft.say(f"{event.device}-found")
    elif not draft.state.deaf:
        draft.say("hearing-again")
    else:
        return
    draft.ask_over()


def _resumed(draft: Draft, *, gone: bool) -> None:
    """Go on; that the approval is gone is said before all but the script of a stop."""
    halted = draft.state.status == "stopped"
    if gone and not halted:
        draft.say("approval-gone")
    last = draft.state.last_accepted
    if last is not None:
        draft.say("last-accepted", what=f"{draft.plan.name(last.quantity)} {spoken_value(draft, last)}")
    if draft.state.status == "stopped":
        assert draft.state.halt is not None
        if draft.state.halt.people == "stay":
            draft.say("stopped")
        after_stop.repeat(draft)
        if gone:
            draft.say("approval-gone")
        return
    recheck(draft)


def _words(draft: Draft, event: inp.Heard | inp.Typed) -> None:
    state = draft.state
    over_voice = isinstance(event, inp.Heard) and event.over_voice
    grammar = draft.plan.stop_grammar if over_voice else draft.plan.grammar(state.question, state.gate)
    if isinstance(event, inp.Heard):
        choice = choose(draft.plan, state, grammar, event)
        written = _written(event, choice)
        sound, onset, text = event.sound, choice.onset, "" if event.sound else _heard_words(event)
        text = draft.words("machine-written", words=written) if written else text
    else:
        choice = choose_typed(draft.plan, grammar, event.text)
        sound, onset, text, written = None, event.at, event.text, ""
    if choice.meaning is None:
        if not over_voice and state.held_since is None:
            _not_understood(draft, choice)
        return
    doubt = choice.doubt
    values = choice.meaning.values if isinstance(choice.meaning, Values) else ()
    draft.emit(ev.Understood(meaning=describe(choice.meaning), doubt=doubt))
    divisions = _divisions(grammar, choice)
    utterance = Understanding(
        onset, doubt, choice.competing, sound, text, written, values, choice.slight, choice.words, divisions
    )
    _act(draft, choice.meaning, utterance)


def _divisions(grammar: Grammar, choice: Interpretation) -> tuple[Values, ...]:
    """Return the ways to divide the chosen words among quantities, where there are several: no prior decides."""
    if not isinstance(choice.meaning, Values):
        return ()
    meant = (one for one in grammar.read(choice.words) if isinstance(one, Values))
    found = {one.values: one for one in meant}
    return tuple(found.values()) if len(found) > 1 else ()


def _act(draft: Draft, meaning: Meaning, utterance: Understanding) -> None:
    """Act on what was understood: a hazard at once, then by the state of the visit."""
    state = draft.state
    ordinary = ordinary_words(draft.catalogue)
    beyond = called_over_range(draft.plan, (meaning, *utterance.competing)) if state.status == "running" else None
    if isinstance(meaning, HazardSaid):
        _hazard(draft, meaning.name, utterance)
    elif beyond is not None:
        draft.stop_if_beyond({beyond: draft.record_of(beyond, "over range")})
    elif utterance.doubt and _must_be_sure(draft, meaning):
        _not_understood(draft, Interpretation(None, why=f"in doubt: {utterance.doubt}"))
    elif state.status == "stopped":
        after_stop.answered(draft, meaning, utterance)
    elif state.held_since is not None:
        _while_held(draft, meaning, utterance)
    elif state.cut_off and (meaning == Answer("affirm") or " ".join(utterance.words) in ordinary):
        draft.ask_over()  # nobody can confirm what was not said to its end
    else:
        _obey_or_answer(draft, meaning, utterance)


def _obey_or_answer(draft: Draft, meaning: Meaning, utterance: Understanding) -> None:
    match meaning:
        case Command():
            command(draft, meaning.name, utterance)
        case Wrong():
            taken_back(draft, meaning.quantity)
        case Answer() | Values() | Correction() | TurnMade() | Spelled() | HazardSaid():
            if not (_ambiguous(draft, meaning, utterance) or answered(draft, meaning, utterance)):
                _not_understood(draft, Interpretation(None, why="no answer to this", competing=(meaning,)))
        case _:
            assert_never(meaning)


def _must_be_sure(draft: Draft, meaning: Meaning) -> bool:
    """Say whether a doubtful hearing is asked again: what counts at once, leaves a gate undone, or ends a hold."""
    if meaning in {Command("not-done"), Command("no-photo"), Command("carry-on")}:
        return True
    sure_side = meaning in {Answer("deny"), Answer("dropped-back"), Answer("close")}
    return isinstance(meaning, Answer) and not sure_side and draft.state.question.manner.counts_at_once


def _while_held(draft: Draft, meaning: Meaning, utterance: Understanding) -> None:
    """On hold only the way on is taken, and that the rate is lost: it must not be forgotten."""
    if meaning in {Command("carry-on"), Command("more-time")}:
        assert isinstance(meaning, Command)
        command(draft, meaning.name, utterance)
    elif meaning == Answer("dropped-back"):
        draft.gate.hear(draft, meaning, utterance)


def _ambiguous(draft: Draft, meaning: Meaning, utterance: Understanding) -> bool:
    """Ask which was meant when the same words call one of two quantities or the other."""
    apart = draft.plan.trade.asked_apart
    if not isinstance(meaning, Values) or len(meaning.values) != 1:
        return False
    alone = [
        one.values for one in (meaning, *utterance.competing) if isinstance(one, Values) and len(one.values) == 1
    ]
    quantities = {quantity for ((quantity, _),) in alone}
    if apart is None or quantities != apart.quantities:
        return False
    draft.ask(AlikeQuantities(quantity=apart.affirmed, other=apart.denied), draft.words(apart.saying))
    return True


CRY_AGAIN_MS = 60_000
"""A second stop within this time is meant, whatever the first was."""


def _hazard(draft: Draft, name: str, utterance: Understanding) -> None:
    """Act at the first hearing. What goes out at a held rate only voids the set, the first time."""
    hazard = draft.catalogue.hazards[name]
    running = draft.plan.trade.running
    goes_out = running is not None and name == running.goes_out
    if goes_out and _out_by_test(draft):
        return
    first = draft.state.status == "running" and goes_out and draft.state.went_out == 0
    if first and DROPPED_BACK in draft.transitions:
        draft.emit(ev.WentOut(at=draft.at, gate=draft.state.gate))
        draft.tell(hazard.script)
        draft.owe(name, cause=True)
        draft.lose_rate("what runs went out")
        return
    by: ev.StoppedBy = "keys" if draft.state.by_keys else "voice"
    undoable = by == "voice" and " ".join(utterance.words) in hazard.alone and not _stopped_before(draft)
    draft.stop(name, "called by the person", hazard.script, hazard.source, by=by, hazard=name, undoable=undoable)


def _stopped_before(draft: Draft) -> bool:
    """Say whether the work is stopped already, or was within the last minute."""
    before = draft.state.stopped_at
    return draft.state.status == "stopped" or (before is not None and draft.at - before < CRY_AGAIN_MS)


def _out_by_test(draft: Draft) -> bool:
    """Pass a gate whose own test puts out what runs, when that is called while it asks; False elsewhere."""
    state = draft.state
    asks = state.held_since is None and state.question.manner.asker == "gate"  # once stopped, the stop asks
    outcome = draft.gate.effects.goes_out if asks else None
    if outcome is None:
        return False
    draft.emit(ev.WentOut(at=draft.at, gate=state.gate, expected=True))
    draft.pass_gate(outcome)
    return True


def _not_understood(draft: Draft, choice: Interpretation) -> None:
    """Count it, and ask again in the next, more helpful way; while waiting, held or stopped, just count it."""
    manner = draft.state.question.manner
    early = ", and the wait is not over" if manner.awaits == "time" else ""
    draft.emit(ev.NotUnderstood(why=choice.why + early))
    if draft.state.status == "stopped":
        after_stop.repeat(draft)
    elif draft.state.held_since is None and not _offered(draft, choice) and manner.escalates:
        escalate(draft)


OFFERED_FROM = 4
"""The attempt from which the likeliest candidate is offered for a yes or no."""


def _offered(draft: Draft, choice: Interpretation) -> bool:
    """Offer what may have been said, for a yes or no, when the shorter ways of asking have failed."""
    candidate = next((one for one in choice.competing if isinstance(one, Answer | Values)), None)
    state = draft.state
    if candidate is None or state.attempt < OFFERED_FROM or not state.question.manner.guesses:
        return False
    values = candidate.values if isinstance(candidate, Values) else ()
    utterance = Understanding(draft.at, choice.why, choice.competing[1:], values=values)
    return draft.gate.hear(draft, candidate, utterance)


def _written(event: inp.Heard, choice: Interpretation) -> str:
    """Return what stands for the free words that the general recogniser wrote; nothing where none were said."""
    general = event.general
    if general is None or general.words is None or UNKNOWN_WORD not in choice.words:
        return ""
    return general.text


def _heard_words(event: inp.Heard) -> str:
    """Return the likeliest words, which stand for a sound that is not kept."""
    return " ".join(event.alternatives[0].text) if event.alternatives else ""
