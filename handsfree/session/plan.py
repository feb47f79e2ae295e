"""What a visit works from and never changes: the procedure, the sheets, the words, and the machine of gates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from transitions import Machine, MachineError

from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.grammar import Grammar
from handsfree.lexicon.numbers import Numbers
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.measurement.reading import Reading
from handsfree.problem import Problem
from handsfree.procedure import phrases
from handsfree.procedure.model import ReadingsGate, RestoreGate, Thing, VerdictGate
from handsfree.procedure.phrases import Question
from handsfree.procedure.procedure import ENDS, STOPPED, PlacedGate, Procedure
from handsfree.procedure.sheets import Sheets
from handsfree.trades.registry import trade_of
from handsfree.trades.trade import Trade

STOP = "stop"
_BACK = "back to "
_AGAIN = "again at "


class _Cursor:
    """The place in the machine; set anew for every move, so that a move depends on nothing before it."""

    state: str


@dataclass(frozen=True)
class Plan:
    """The unchanging side of a visit."""

    procedure: Procedure
    sheets: Sheets

    @cached_property
    def trade(self) -> Trade:
        """The trade of the procedure: its calculations, stop limits and plausibility."""
        return trade_of(self.procedure.file)

    @property
    def catalogue(self) -> Catalogue:
        """The words of the procedure's language."""
        return self.procedure.catalogue

    @property
    def numbers(self) -> Numbers:
        """How numbers are said and heard on this visit."""
        return self.catalogue.numbers

    @property
    def pronunciations(self) -> Pronunciations:
        """How its words are said, as far as that is known."""
        return self.catalogue.pronounced(self.procedure.words)

    @cached_property
    def words(self) -> frozenset[str]:
        """Every word that may be heard on this visit."""
        gates = [placed.gate for placed in self.procedure.gates.values()]
        return phrases.words(gates, self.things, self.catalogue)

    @property
    def things(self) -> Mapping[str, Thing]:
        """What the procedure may alter."""
        return self.procedure.things

    def gate(self, gate_id: str) -> PlacedGate:
        """Return a gate of the procedure."""
        return self.procedure.gate(gate_id)

    @cached_property
    def _machine(self) -> Machine:
        """The moves that exist: the procedure's ways, going back, stopping, and beginning again after a stop."""
        gates = self.procedure.gates
        machine = Machine(
            model=None, states=[*gates, *ENDS], initial=self.procedure.first, auto_transitions=False, queued=False
        )
        for gate_id, placed in gates.items():
            for outcome, to in placed.ways.items():
                machine.add_transition(outcome, gate_id, to)
            machine.add_transition(STOP, gate_id, STOPPED)
            machine.add_transition(_AGAIN + gate_id, STOPPED, gate_id)
            machine.add_transition(_BACK + gate_id, "*", gate_id)
        machine.add_transition(STOP, STOPPED, STOPPED)
        machine.add_model(self._cursor, initial=self.procedure.first)
        return machine

    @cached_property
    def _cursor(self) -> _Cursor:
        return _Cursor()

    def move(self, gate_id: str, outcome: str) -> str:
        """Return where an outcome leads; raise MachineError when the procedure has no such way."""
        if outcome not in self._machine.events:
            raise MachineError(f"no gate has the way {outcome!r}")
        self._machine.set_state(gate_id, self._cursor)
        self._cursor.trigger(outcome)  # type: ignore[attr-defined]
        return self._cursor.state

    def back(self, gate_id: str, to: str) -> str:
        """Return the gate gone back to."""
        return self.move(gate_id, _BACK + to)

    def again(self, to: str) -> str:
        """Return the gate where a cleared visit begins again."""
        return self.move(STOPPED, _AGAIN + to)

    @cached_property
    def _grammars(self) -> dict[tuple[Question, str], Grammar]:
        return {}

    def grammar(self, question: Question, gate_id: str) -> Grammar:
        """Return what is understood at a question of a gate."""
        key = (question, gate_id)
        if key not in self._grammars:
            gate = self.gate(gate_id).gate
            self._grammars[key] = phrases.grammar(question, gate, self.things, self.catalogue)
        return self._grammars[key]

    @cached_property
    def stop_grammar(self) -> Grammar:
        """What is heard over the tool's own voice."""
        return phrases.stop_grammar(self.catalogue)

    def reading(self, quantity: str, value: Decimal) -> Reading:
        """Return a called number as a reading in the quantity's unit; its last digit gives the resolution."""
        return Reading.written(quantity, f"{value:f}", self.catalogue.quantities[quantity].unit)

    def name(self, quantity: str) -> str:
        """Return a quantity's name as the tool says it."""
        known = self.catalogue.quantities.get(quantity)
        return self.catalogue.subjects[quantity] if known is None else known.said  # a time is measured, not called

    def fill(self, text: str) -> str:
        """Return a prompt with {job.…} and {appliance.…} filled in from the sheets."""
        return text.format(job=self.sheets.job, appliance=self.sheets.appliance)

    def check(self) -> Plan:
        """Return this plan; raise Problem when procedure and sheets do not fit each other."""
        where = self.procedure.documents[0].file
        for fact in self.procedure.file.jobsheet:
            if getattr(self.sheets.job, fact.replace("-", "_"), None) in (None, ""):
                raise Problem(f"the job sheet lacks {fact!r}, which {self.procedure.name} needs", where=where)
        for placed in self.procedure.gates.values():
            prompt = getattr(placed.gate, "prompt", None)
            if prompt is not None:
                try:
                    self.fill(prompt)
                except (AttributeError, KeyError, IndexError, ValueError) as error:
                    what = f"the prompt names {error} that no sheet has"
                    raise Problem(what, where=str(placed.place), remedy="correct the name in braces") from error
            if isinstance(placed.gate, ReadingsGate):
                for ask in placed.gate.ask:
                    if ask.quantity not in self.catalogue.quantities:
                        known = ", ".join(self.catalogue.quantities)
                        what = f"there is no quantity {ask.quantity!r}"
                        raise Problem(what, where=str(placed.place), remedy=f"known: {known}")
        return self


__all__ = ["STOP", "Plan", "RestoreGate", "VerdictGate"]
