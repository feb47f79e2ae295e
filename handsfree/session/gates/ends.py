"""The two ends of a visit: finished with everything restored, or stopped."""

from __future__ import annotations

from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.procedure.model import StopGate
from handsfree.procedure.procedure import DONE
from handsfree.session.draft import Draft, GateKind
from handsfree.session.gates.restore import ask_next_restore, hear_restore
from handsfree.session.utterance import Utterance


class FinishGates(GateKind):
    """The end: whatever is still altered is asked for first, then the finish is read back."""

    def open(self, draft: Draft) -> None:
        """Ask for what is still altered, else for the confirmation of the finish."""
        if not ask_next_restore(draft, draft.state.altered):
            draft.ask("finish-check", draft.words("finish-check"))

    def hear(self, draft: Draft, meaning: Meaning, utterance: Utterance) -> bool:  # noqa: ARG002
        """Finish when it is confirmed."""
        if draft.expected().kind == "finish-check" and isinstance(meaning, Answer):
            if meaning.name == "affirm":
                draft.pass_gate(DONE)
            else:
                draft.ask_again()
            return True
        return hear_restore(draft, meaning, self.open)


class StopGates(GateKind):
    """Make-safe written into a procedure."""

    def open(self, draft: Draft) -> None:
        """Stop with the gate's script."""
        gate = draft.placed.gate
        assert isinstance(gate, StopGate)
        source = gate.source or "common practice, no source"
        draft.stop("gate", gate.title, draft.plan.fill(gate.script), source)
