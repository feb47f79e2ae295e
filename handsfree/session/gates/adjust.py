"""One step of an adjuster: advice from the maker's data and the moves so far, then the turn as made."""

from __future__ import annotations

from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Answer, Meaning, TurnMade
from handsfree.procedure.model import AdjustGate
from handsfree.procedure.procedure import DONE, NO_ADVICE
from handsfree.session import events as ev
from handsfree.session.advising import advice_for
from handsfree.session.draft import Draft, GateKind
from handsfree.session.utterance import Utterance


class AdjustGates(GateKind):
    """Advises, takes the call of the turn, reads it back, and voids what it changes."""

    def open(self, draft: Draft) -> None:
        """Give the advice, or say why there is none."""
        gate = draft.placed.gate
        assert isinstance(gate, AdjustGate)
        advice = advice_for(draft.plan, draft.state, gate)
        draft.emit(
            ev.Advised(
                gate=draft.state.gate,
                adjuster=advice.adjuster,
                direction=advice.direction,
                eighths=advice.eighths,
                reason=advice.reason,
            )
        )
        if advice.eighths == 0:
            draft.say("no-advice", reason=advice.spoken)
            draft.pass_gate(NO_ADVICE)
            return
        text = draft.words(
            "advice",
            adjuster=sentence_case(advice.adjuster),
            direction=draft.words(advice.direction),
            turn=self._far(draft, advice.eighths),
        )
        draft.ask("turn", text)

    def hear(self, draft: Draft, meaning: Meaning, utterance: Utterance) -> bool:  # noqa: ARG002
        """Read the called turn back; take it when it is confirmed."""
        gate, question = draft.placed.gate, draft.expected()
        assert isinstance(gate, AdjustGate)
        if isinstance(meaning, TurnMade) and question.kind in {"turn", "turn-check"}:
            direction: str = meaning.direction or "clockwise"
            text = draft.words(
                "turn-read-back", direction=draft.words(direction), turn=self._far(draft, meaning.eighths)
            )
            draft.ask("turn-check", sentence_case(text), f"{direction}={meaning.eighths}")
            return True
        if question.kind == "turn-check" and meaning == Answer("affirm"):
            direction, _, eighths = question.about.partition("=")
            self._turned(draft, gate, direction, int(eighths))
            return True
        if question.kind == "turn-check" and meaning == Answer("deny"):
            draft.ask("turn", draft.words("turn-called"))
            return True
        return False

    def _turned(self, draft: Draft, gate: AdjustGate, direction: str, eighths: int) -> None:
        draft.emit(
            ev.Turned(at=draft.at, gate=draft.state.gate, rate=gate.rate, direction=direction, eighths=eighths)
        )
        if eighths:
            for kept_at in (gate.using, *(name for name in gate.voids if name != gate.using)):
                if kept_at in draft.state.sets:
                    draft.emit(ev.SetVoided(kept_at=kept_at, why="the adjuster was turned"))
        draft.pass_gate(DONE)

    def _far(self, draft: Draft, eighths: int) -> str:
        turns = draft.plan.catalogue.turns
        return turns[eighths][0] if eighths in turns else draft.words("eighths", count=str(eighths))
