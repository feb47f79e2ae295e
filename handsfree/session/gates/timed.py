"""A time taken by voice: the volume first, then two marks timed at the onset of the word."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal

from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.procedure.model import TimedGate
from handsfree.procedure.procedure import DONE
from handsfree.session import events as ev
from handsfree.session.draft import Draft, GateKind
from handsfree.session.gates.values import hear_values, silence_after_read_back
from handsfree.session.utterance import Utterance

TENTH = Decimal("0.1")


class TimedGates(GateKind):
    """Asks for the volume between the marks, then for the marks."""

    def open(self, draft: Draft) -> None:
        """Ask for the volume."""
        gate = draft.placed.gate
        assert isinstance(gate, TimedGate)
        draft.ask("gate", draft.plan.fill(gate.prompt))

    def hear(self, draft: Draft, meaning: Meaning, utterance: Utterance) -> bool:
        """Take the volume, then each mark."""
        question = draft.expected().kind
        if question in {"mark-first", "mark-last"} and meaning == Answer("mark"):
            self._marked(draft, utterance)
            return True
        return hear_values(draft, meaning, utterance, self._volume_taken)

    def silence(self, draft: Draft) -> None:
        """Ask for the volume once more: silence never accepts it."""
        silence_after_read_back(draft, self._volume_taken)

    def _volume_taken(self, draft: Draft) -> None:
        draft.ask("mark-first", draft.words("mark-first"))

    def _marked(self, draft: Draft, utterance: Utterance) -> None:
        """Take a mark; one that may be other speech begins the timing anew, since its time is worth nothing."""
        gate = draft.placed.gate
        assert isinstance(gate, TimedGate)
        if utterance.doubt and not utterance.slight:
            draft.ask("mark-first", draft.words("mark-first"))
            return
        draft.emit(ev.Marked(onset=utterance.onset))
        if draft.expected().kind == "mark-first":
            volume = Decimal(draft.state.sets[gate.at][-1].values[gate.volume.quantity].value)
            draft.ask("mark-last", draft.words("mark-last", volume=draft.plan.numbers.digits(volume)))
            return
        first, last = draft.state.marks[-2:]
        seconds = (Decimal(last - first) / 1000).quantize(TENTH, ROUND_HALF_EVEN)
        reading = ev.ReadingRecord(quantity="meter_time", value=f"{seconds:f}", unit="s", resolution="0.1")
        if seconds < gate.least_seconds:
            draft.emit(ev.ReadingRefused(reading=reading, why=f"shorter than {gate.least_seconds} s"))
            draft.ask("mark-first", draft.words("mark-first"))
            return
        number = draft.state.sets[gate.at][-1].number
        draft.emit(
            ev.ReadingAccepted(
                at=draft.at, gate=draft.state.gate, kept_at=gate.at, number=number, reading=reading, how="timed"
            )
        )
        draft.emit(ev.SetTaken(at=draft.at, kept_at=gate.at, number=number))
        draft.say("marked", seconds=draft.plan.numbers.digits(seconds))
        draft.pass_gate(DONE)
