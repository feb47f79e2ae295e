"""Gates that ask and take an answer: something done, or one of a few answers."""

from __future__ import annotations

from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.procedure.model import ChoiceGate, ConfirmGate
from handsfree.procedure.procedure import DONE
from handsfree.session import events as ev
from handsfree.session.draft import Draft, GateKind
from handsfree.session.utterance import Utterance


class ConfirmGates(GateKind):
    """Something the person does and then says so; a restore is read back before it counts."""

    def open(self, draft: Draft) -> None:
        """Ask the prompt."""
        gate = draft.placed.gate
        assert isinstance(gate, ConfirmGate)
        draft.ask("gate", draft.plan.fill(gate.prompt))

    def hear(self, draft: Draft, meaning: Meaning, utterance: Utterance) -> bool:
        """Take "done", after a yes or no when it was heard in real doubt; read back what it restores."""
        gate = draft.placed.gate
        assert isinstance(gate, ConfirmGate)
        if not isinstance(meaning, Answer):
            return False
        if meaning.name == "done" and gate.restores:
            things = [draft.plan.things[name] for name in gate.restores]
            states = "; ".join(f"{thing.said} {thing.restored}" for thing in things)
            draft.ask("done-check", draft.words("things-check", things=sentence_case(states)))
            return True
        if meaning.name == "done" and utterance.doubt and not utterance.slight:
            _check(draft, "done", gate.done[0])
            return True
        if meaning.name == "done" or (meaning.name == "affirm" and draft.expected().kind in CHECKS):
            self._done(draft, gate)
            return True
        if meaning.name == "deny" and draft.expected().kind in CHECKS:
            self.open(draft)
            return True
        return False

    def _done(self, draft: Draft, gate: ConfirmGate) -> None:
        for thing in gate.restores:
            if thing in draft.state.altered:
                draft.emit(ev.Restored(at=draft.at, thing=thing, gate=draft.state.gate))
        for thing in gate.alters:  # altered anew counts too: holding another rate restarts the settle clock
            draft.emit(ev.Altered(at=draft.at, thing=thing, gate=draft.state.gate))
        draft.pass_gate(DONE)


class ChoiceGates(GateKind):
    """A question with a few answers, each leading somewhere."""

    def open(self, draft: Draft) -> None:
        """Ask the prompt."""
        gate = draft.placed.gate
        assert isinstance(gate, ChoiceGate)
        draft.ask("gate", draft.plan.fill(gate.prompt))

    def hear(self, draft: Draft, meaning: Meaning, utterance: Utterance) -> bool:
        """Leave by the answer; one heard in doubt is offered for a yes or no first."""
        gate, question = draft.placed.gate, draft.expected()
        assert isinstance(gate, ChoiceGate)
        if not isinstance(meaning, Answer):
            return False
        if question.kind == "answer-check" and meaning.name == "affirm":
            draft.pass_gate(question.about)
        elif question.kind == "answer-check" and meaning.name == "deny":
            self.open(draft)
        elif meaning.name not in gate.answers:
            return False
        elif utterance.doubt:
            _check(draft, meaning.name, gate.answers[meaning.name].heard[0])
        else:
            draft.pass_gate(meaning.name)
        return True


CHECKS = frozenset({"done-check", "answer-check"})


def _check(draft: Draft, name: str, said: str) -> None:
    """Ask for a yes or no to what was probably answered."""
    draft.ask("answer-check", draft.words("probably", first=sentence_case(said)), name)
