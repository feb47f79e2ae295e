"""Sets of values called out, and watched until they have settled; the rate they are taken at."""

from __future__ import annotations

from decimal import Decimal

from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.procedure.model import ConfirmGate, ReadingsGate
from handsfree.procedure.procedure import DONE, DROPPED_BACK, UNSETTLED
from handsfree.session import events as ev
from handsfree.session.draft import Draft, GateKind
from handsfree.session.gates.values import hear_values, silence_after_read_back
from handsfree.session.settling import judge_sets, rising_stop, settle_seconds
from handsfree.session.situation import numeric
from handsfree.session.utterance import Utterance


class ReadingsGates(GateKind):
    """One set of values, or sets in silence between them until they have settled."""

    def open(self, draft: Draft) -> None:
        """Wait where the gate asks for it, then ask for a set."""
        gate = _gate(draft)
        if gate.settle is not None and not draft.state.readings(gate.at):
            until = draft.state.last_change + 1000 * settle_seconds(draft.plan, gate.settle)
            if until > draft.at:
                draft.wait(until, _wait_text(draft, until))
                return
        self._ask_set(draft)

    def _ask_set(self, draft: Draft) -> None:
        gate = _gate(draft)
        if _hold_ran_out(draft):
            lose_rate(draft, "the hold's time has run out")
            return
        text = draft.plan.fill(gate.prompt)
        if gate.settle is not None:
            draft.emit(ev.ToneSounded(name="attention"))
            if draft.state.readings(gate.at):
                text = draft.words("readings-now", names=draft.names(ask.quantity for ask in gate.ask))
        draft.ask("gate", text)

    def time_up(self, draft: Draft) -> None:
        """Ask for the next set."""
        self._ask_set(draft)

    def hear(self, draft: Draft, meaning: Meaning, utterance: Utterance) -> bool:
        """Take values, corrections, confirmations and the rate."""
        gate = _gate(draft)
        if meaning == Answer("dropped-back") and gate.dropped_back is not None:
            lose_rate(draft, "the rate dropped back")
            return True
        if draft.expected().kind == "rate" and isinstance(meaning, Answer):
            if meaning.name == gate.rate:
                draft.emit(ev.RateCalled(rate=meaning.name))
                self._set_taken(draft)
            else:
                lose_rate(draft, f"the rate called was {meaning.name}")
            return True
        return hear_values(draft, meaning, utterance, self._accepted)

    def silence(self, draft: Draft) -> None:
        """Accept what silence may accept, and ask for the rest once more."""
        silence_after_read_back(draft, self._accepted)

    def _accepted(self, draft: Draft) -> None:
        gate = _gate(draft)
        if gate.rate is not None and draft.state.rate_called != gate.rate:
            draft.ask("rate", draft.words("rate-called"))
            return
        self._set_taken(draft)

    def _set_taken(self, draft: Draft) -> None:
        gate = _gate(draft)
        taken = draft.state.sets[gate.at][-1]
        draft.emit(ev.SetTaken(at=draft.at, kept_at=gate.at, number=taken.number))
        if gate.settle is None:
            self._done(draft, gate)
            return
        sets = draft.state.readings(gate.at)
        stop = rising_stop(draft.plan, draft.state, gate)
        if stop is not None:
            draft.stop_at_limit(stop)
            return
        if len(sets) < gate.settle.sets:
            self._again(draft, gate.settle.apart_seconds)
            return
        judged = judge_sets(draft.plan, draft.state, gate)
        for judgement in judged:
            draft.emit(judgement.event)
        moving = [judgement for judgement in judged if not judgement.event.settled]
        too_few = set(numeric(sets[-1].values)) - {judgement.event.quantity for judgement in judged}
        if not moving and not too_few:
            for judgement in judged:
                draft.emit(judgement.settled)
            self._done(draft, gate)
        elif len(sets) >= gate.settle.most_sets:
            draft.say("unsettled-end", sets=str(len(sets)))
            draft.pass_gate(UNSETTLED)
        else:
            if moving:
                first = moving[0].event
                direction = "falling" if first.slope.startswith("-") else "rising"
                draft.say("not-settled", what=draft.plan.name(first.quantity), direction=draft.words(direction))
            self._again(draft, gate.settle.apart_seconds)

    def _again(self, draft: Draft, seconds: int) -> None:
        draft.wait(draft.at + 1000 * seconds, draft.words("again-in", seconds=str(seconds)))

    def _done(self, draft: Draft, gate: ReadingsGate) -> None:
        if gate.captures is not None:
            self._captured(draft, gate.captures, draft.state.sets[gate.at][-1].values[gate.ask[0].quantity])
        draft.pass_gate(DONE)

    def _captured(self, draft: Draft, thing: str, reading: ev.ReadingRecord) -> None:
        """Keep a setting as found; one read after its thing was altered is a reading and no more."""
        if draft.state.as_found_open(thing):
            draft.emit(ev.FoundValue(thing=thing, reading=reading))
            return
        found = draft.state.found.get(thing)
        if found is None:
            draft.say("not-as-found")
        elif Decimal(found.value) != Decimal(reading.value):
            draft.say("as-found-stays", value=draft.plan.numbers.digits(Decimal(found.value)))


def _gate(draft: Draft) -> ReadingsGate:
    gate = draft.placed.gate
    assert isinstance(gate, ReadingsGate)
    return gate


def _hold_ran_out(draft: Draft) -> bool:
    """Say whether the control has let go of the held rate by itself, by the appliance sheet's time."""
    minutes = draft.plan.sheets.appliance.hold_minutes
    to = draft.placed.ways.get(DROPPED_BACK)
    hold = None if to is None else draft.plan.gate(to).gate
    if minutes is None or not isinstance(hold, ConfirmGate):
        return False
    begun = [draft.state.altered_at[thing] for thing in hold.alters if thing in draft.state.altered]
    return bool(begun) and draft.at - max(begun) >= 60_000 * minutes


def _wait_text(draft: Draft, until: int) -> str:
    seconds = (until - draft.at + 999) // 1000
    waits = draft.plan.catalogue.waits
    if seconds in waits:
        return draft.words("wait", minutes=waits[seconds])
    return draft.words("wait-seconds", seconds=str(seconds))


def lose_rate(draft: Draft, why: str) -> None:
    """Void the set and go back to where the rate is held."""
    gate = _gate(draft)
    draft.emit(ev.SetVoided(kept_at=gate.at, why=why))
    draft.say("set-void")
    draft.pass_gate(DROPPED_BACK)
