"""Gates that ask nothing: a calculation over readings and sheets decides where to go."""

from __future__ import annotations

from handsfree.procedure.model import VerdictGate
from handsfree.session import events as ev
from handsfree.session.calculations import judge_gate
from handsfree.session.draft import Draft, GateKind


class VerdictGates(GateKind):
    """Computes, says the verdict, and branches."""

    def open(self, draft: Draft) -> None:
        """Give the verdict and leave by its outcome."""
        gate = draft.placed.gate
        assert isinstance(gate, VerdictGate)
        judgement = judge_gate(draft.plan, draft.state, gate)
        draft.emit(
            ev.VerdictGiven(
                at=draft.at,
                gate=draft.state.gate,
                calculation=gate.calculation,
                outcome=judgement.outcome,
                demonstrated=judgement.demonstrated,
                rule=judgement.rule,
                numbers=judgement.numbers,
                sources=judgement.sources,
                sentence=judgement.sentence,
            )
        )
        draft.tell(judgement.spoken)
        draft.pass_gate(judgement.outcome)
