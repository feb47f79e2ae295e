"""What can be said at any moment: repeat, go back, hold, where am I, what is left, not done, a note."""

from __future__ import annotations

from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.procedure.model import ReadingsGate, RestoreGate, TimedGate, VerdictGate
from handsfree.procedure.phrases import asks_of
from handsfree.procedure.procedure import DROPPED_BACK, NOT_DONE
from handsfree.session import events as ev
from handsfree.session.asking import LONG_HOLD_MS
from handsfree.session.draft import Draft
from handsfree.session.gates.readings import lose_rate
from handsfree.session.gates.restore import read_back_restored
from handsfree.session.utterance import Utterance

_LEAVING = frozenset({"go-back", "that-was-wrong", "not-done"})


def command(draft: Draft, name: str, utterance: Utterance) -> None:
    """Act on an everywhere phrase; what was asked after a crash or a long hold cannot be left unanswered."""
    if draft.state.rechecks and name in _LEAVING:
        _not_possible(draft)
    else:
        _obey(draft, name, utterance)


def _obey(draft: Draft, name: str, utterance: Utterance) -> None:
    match name:
        case "repeat":
            draft.ask_again()
        case "go-back":
            _go_back(draft)
        case "hold-on":
            draft.emit(ev.Held(at=draft.at))
            draft.say("hold-on-firing" if draft.placed.gate.firing else "hold-on")
        case "carry-on":
            _carry_on(draft)
        case "where-am-i":
            draft.say("here", title=draft.placed.gate.title)
            draft.ask_again()
        case "what-is-left":
            _what_is_left(draft)
        case "that-was-wrong":
            _last_wrong(draft)
        case "not-done":
            _not_done(draft, utterance)
        case "note":
            draft.ask("note", draft.words("note-now"))
        case _:
            raise AssertionError(name)


def _go_back(draft: Draft) -> None:
    """Return to the last gate that asks something; nothing is un-altered, unmet needs are asked there."""
    asked = [gate_id for gate_id in draft.state.passed if _asks(draft, gate_id)]
    if not asked:
        draft.say("nothing-back")
        draft.ask_again()
        return
    _back_to(draft, asked[-1])


def _asks(draft: Draft, gate_id: str) -> bool:
    """Say whether a gate would ask something now: a restore with nothing left to restore would not."""
    gate = draft.plan.gate(gate_id).gate
    if isinstance(gate, RestoreGate):
        return any(thing in draft.state.altered for thing in gate.things)
    return not isinstance(gate, VerdictGate)


def _back_to(draft: Draft, gate_id: str) -> None:
    draft.emit(ev.WentBack(at=draft.at, gate=draft.state.gate, to=gate_id))
    draft.enter(gate_id)


def _carry_on(draft: Draft) -> None:
    held = draft.state.held_since
    if held is None:
        draft.ask_again()
        return
    draft.emit(ev.CarriedOn(at=draft.at))
    draft.say("carry-on")
    if draft.at - held > LONG_HOLD_MS:
        recheck(draft)
    else:
        draft.ask_again()


def _what_is_left(draft: Draft) -> None:
    ids = list(draft.plan.procedure.gates)
    left = len(ids) - ids.index(draft.state.gate)
    names = ", ".join(draft.plan.things[thing].said for thing in draft.state.altered)
    draft.say("left", gates=str(left), things=names or draft.words("nothing-altered"))
    draft.ask_again()


def _not_done(draft: Draft, utterance: Utterance) -> None:
    """Pass the gate undone, with the reason kept; stops, isolations and restores refuse."""
    if NOT_DONE not in draft.placed.ways:
        draft.say("not-done-refused")
        draft.ask_again()
        return
    event = ev.NotDone(at=draft.at, gate=draft.state.gate, reason=utterance.text, sound=utterance.sound)
    draft.emit(event)
    draft.say("not-done")
    draft.pass_gate(NOT_DONE)


def _last_wrong(draft: Draft) -> None:
    """Take back the readings of the gate at hand, or go back to where the last ones were taken."""
    if _void_here(draft):
        return
    taken = [g for g in draft.state.passed if isinstance(draft.plan.gate(g).gate, ReadingsGate | TimedGate)]
    if taken:
        _back_to(draft, taken[-1])
    else:
        _not_possible(draft)


def _void_here(draft: Draft) -> bool:
    """Void the readings of the gate at hand and ask for them anew; False when it has none."""
    gate = draft.placed.gate
    if not isinstance(gate, ReadingsGate | TimedGate):
        return False
    if not draft.state.sets.get(gate.at) and not draft.state.pending.values:
        return False
    draft.emit(ev.SetVoided(kept_at=gate.at, why="the person called it wrong"))
    draft.open()
    return True


def _not_possible(draft: Draft) -> None:
    draft.say("not-possible")
    draft.ask_again()


def taken_back(draft: Draft, quantity: str) -> None:
    """Take a value back ("CO two was wrong"): go back to where it was taken; its verdicts are given anew."""
    if draft.state.rechecks:
        _not_possible(draft)
        return
    if any(ask.quantity == quantity for ask in asks_of(draft.placed.gate)) and _void_here(draft):
        return
    for gate_id in reversed(draft.state.passed):
        earlier = draft.plan.gate(gate_id).gate
        if isinstance(earlier, ReadingsGate) and any(ask.quantity == quantity for ask in earlier.ask):
            _back_to(draft, gate_id)
            return
    _not_possible(draft)


def recheck(draft: Draft) -> None:
    """After a crash, a long hold or a cleared stop: ask burner, rate and every altered thing again."""
    gate = draft.placed.gate
    items = ["burner"] if gate.firing else []
    if isinstance(gate, ReadingsGate) and gate.rate is not None:
        items.append("rate")
    items += draft.state.altered
    draft.emit(ev.RecheckBegun(at=draft.at, items=tuple(items)))
    if isinstance(gate, ReadingsGate | TimedGate) and (gate.at in draft.state.sets or draft.state.pending.values):
        draft.emit(ev.SetVoided(kept_at=gate.at, why="settle clocks start afresh"))
    if items:
        draft.say("recheck-start")
    _next_recheck(draft)


def _next_recheck(draft: Draft) -> None:
    if not draft.state.rechecks:
        _rechecked_all(draft)
        return
    item = draft.state.rechecks[0]
    if item == "rate" and draft.state.rate_lost:
        rechecked(draft, "lost")
    elif item == "burner":
        draft.ask("recheck-burner", draft.words("recheck-burner"))
    elif item == "rate":
        draft.ask("recheck-rate", draft.words("rate-called"))
    else:
        said = sentence_case(draft.plan.things[item].said)
        draft.ask("recheck-thing", draft.words("recheck-thing", thing=said), item)


def rechecked(draft: Draft, answer: str) -> None:
    """Take one answer of a recheck; a setting said to be restored stays altered until its value proves it."""
    item = draft.state.rechecks[0]
    thing = draft.plan.things.get(item)
    if thing is not None and thing.value is None and answer == "restored":
        read_back_restored(draft, item)
        return
    draft.emit(ev.Rechecked(item=item, answer=answer))
    _next_recheck(draft)


def recheck_read_back(draft: Draft, meaning: Meaning) -> bool:
    """Take the answer to the read-back of a thing that a recheck found restored; False when it is none."""
    if not isinstance(meaning, Answer):
        return False
    item = draft.state.rechecks[0]
    if meaning.name == "affirm":
        draft.emit(ev.Rechecked(item=item, answer="restored"))
        draft.emit(ev.Restored(at=draft.at, thing=item, gate=draft.state.gate))
    _next_recheck(draft)
    return True


def _rechecked_all(draft: Draft) -> None:
    """Go on where the visit was; with the burner off or the rate lost, where the rate was last held."""
    lost = draft.state.rate_lost
    if lost and DROPPED_BACK in draft.placed.ways:
        lose_rate(draft, lost)
        return
    gates = draft.plan.procedure.gates.values()
    holds = {placed.ways[DROPPED_BACK] for placed in gates if DROPPED_BACK in placed.ways}
    held = [gate_id for gate_id in draft.state.passed if gate_id in holds] if lost else []
    if held:
        _back_to(draft, held[-1])
    else:
        draft.open()
