"""What a visit works from and never changes: the procedure, the sheets, and the words."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property

from handsfree.events.decisions import ReadingRecord
from handsfree.gates.outcomes import DIFFERENT, DROPPED_BACK, STOPPED
from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.grammar import Grammar
from handsfree.lexicon.meaning import Called, InUnit, Number
from handsfree.lexicon.numbers import Numbers
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.measurement.reading import Reading
from handsfree.problem import Problem
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.questions import Question
from handsfree.questions import grammar as understood
from handsfree.questions.ask import Thing
from handsfree.questions.keypad import shown_unit
from handsfree.questions.kind import Scope
from handsfree.trades.sheets import Sheets
from handsfree.trades.trade import Trade
from handsfree.units import convert

LONGEST_WORK_SECONDS = 900
"""However long the maker's times are, silence while something fires is an alarm after this: common practice, no
source."""


@dataclass(frozen=True)
class Plan:
    """The unchanging side of a visit."""

    procedure: Procedure
    sheets: Sheets

    @cached_property
    def trade(self) -> Trade:
        """The trade of the procedure: its calculations, stop limits and plausibility."""
        return self.procedure.trade.functions

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
        return understood.words(self.catalogue, (self.procedure.scope(one) for one in self.procedure.gates))

    @property
    def things(self) -> Mapping[str, Thing]:
        """What the procedure may alter."""
        return self.procedure.things

    def gate(self, gate_id: str) -> PlacedGate:
        """Return a gate of the procedure."""
        return self.procedure.gate(gate_id)

    def move(self, gate_id: str, outcome: str) -> str:
        """Return where an outcome leads; raise MachineError when the procedure has no such transition."""
        return self.procedure.moves.move(gate_id, outcome)

    def back(self, gate_id: str, to: str) -> str:
        """Return the gate gone back to; raise MachineError when it is none."""
        self.procedure.moves.known((gate_id, to))
        return to

    def led_to(self, gate_id: str, answer: str) -> str:
        """Return where an answer to a choice leads on this visit: it may have to name a fact of the sheets."""
        placed = self.gate(gate_id)
        fact = placed.gate.texts.get("matches")
        named = fact is None or self.fill(fact).lower() in placed.gate.phrases[answer]
        return placed.transitions[answer if named else DIFFERENT]

    def stop(self, gate_id: str) -> str:
        """Return the end that a stop leads to from a gate; raise MachineError when it is none."""
        self.procedure.moves.known((gate_id,))
        return STOPPED

    def again(self, to: str) -> str:
        """Return the gate where a cleared visit begins again; raise MachineError when it is none."""
        self.procedure.moves.known((to,))
        return to

    @cached_property
    def holds(self) -> frozenset[str]:
        """The gates where a rate is held, to which a lost one leads back."""
        gates = self.procedure.gates.values()
        return frozenset(
            placed.transitions[DROPPED_BACK] for placed in gates if DROPPED_BACK in placed.transitions
        )

    def held_by_hand(self, altered: Iterable[str]) -> bool:
        """Say whether a rate is held, as the altered things show."""
        return not self.rate_things.isdisjoint(altered)

    @cached_property
    def rate_things(self) -> frozenset[str]:
        """What is altered to hold a rate."""
        return frozenset(thing for gate_id in self.holds for thing in self.gate(gate_id).gate.effects.alters)

    def put_back_when_stopped(self, altered: Iterable[str]) -> tuple[str, ...]:
        """Return what is put back also when the work is left off, the last altered first."""
        return tuple(reversed([thing for thing in altered if self.things[thing].put_back_when_stopped]))

    @cached_property
    def rates(self) -> Mapping[str, str | None]:
        """Name that readings are kept under -> the rate at which they are taken."""
        found: dict[str, str | None] = {}
        for placed in self.procedure.gates.values():
            effects = placed.gate.effects
            if not effects.measures:
                found.setdefault(effects.kept_at, effects.rate)
        return found

    @cached_property
    def _grammars(self) -> dict[tuple[Question, str], Grammar]:
        return {}

    def scope(self, gate_id: str) -> Scope:
        """Return what a question asked at a gate may look at; without a gate, what it may look at anywhere."""
        known = gate_id in self.procedure.gates
        scope = self.procedure.scope(gate_id) if known else Scope(self.catalogue, self.things)
        return replace(scope, shows=self.sheets.shows(), people=tuple(self.sheets.job.numbered()))

    def grammar(self, question: Question, gate_id: str) -> Grammar:
        """Return what is understood at a question of a gate."""
        key = (question, gate_id)
        if key not in self._grammars:
            self._grammars[key] = understood.grammar(question, self.scope(gate_id))
        return self._grammars[key]

    @cached_property
    def stop_grammar(self) -> Grammar:
        """What is heard over the tool's own voice."""
        return understood.stop_grammar(self.catalogue)

    def work_ms(self, gate_id: str) -> int:
        """Return how long the work of a gate takes, in ms: as written, or by the maker's longer times."""
        gate = self.gate(gate_id).gate
        written = gate.usual_work_seconds if gate.work_seconds is None else gate.work_seconds
        times = self.sheets.appliance.times_seconds
        by_sheet = sum(count * times.get(name, 0) for name, count in gate.work_sheet.items())
        return 1000 * min(max(written, by_sheet), LONGEST_WORK_SECONDS)

    def where_read(self, gate_id: str) -> str:
        """Return what makes readings of two visits comparable: the rate that a gate holds, else its point."""
        effects = self.gate(gate_id).gate.effects
        return effects.rate or effects.kept_at

    def unmet(self, gate_id: str, altered: Container[str]) -> tuple[str, str] | None:
        """Return the first need of a gate that does not hold, with the state it asks for."""
        for thing, wanted in self.gate(gate_id).gate.needs.items():
            if (self.things[thing].altered == wanted) != (thing in altered):
                return thing, wanted
        return None

    def reading(self, quantity: str, value: Number) -> Reading:
        """Return a called number as a reading in the quantity's unit; its last digit gives the resolution."""
        if isinstance(value, InUnit):
            return Reading.converted(quantity, value.value, value.unit, self.catalogue.quantities[quantity].unit)
        return Reading.written(quantity, f"{value:f}", self.catalogue.quantities[quantity].unit)

    def record_of(self, quantity: str, called: Called) -> ReadingRecord:
        """Return a called value as it is recorded."""
        if isinstance(called, Decimal):
            return ReadingRecord(**self.reading(quantity, called).to_record())
        if isinstance(called, InUnit):
            converted = self.reading(quantity, called).to_record()
            return ReadingRecord(**converted, called=f"{called.value:f}", called_unit=called.unit)
        unit = self.catalogue.quantities[quantity].unit
        return ReadingRecord(quantity=quantity, value=called, unit=unit, resolution="1")

    def called(self, record: ReadingRecord) -> str:
        """Return a recorded number in the words that call it."""
        value, unit = record.shown
        named = f" {self.catalogue.units[unit].heard[0]}" if record.called_unit else ""
        return f"{self.numbers.digits(Decimal(value))}{named}"

    def displayed(self, quantity: str, value: Decimal) -> Decimal:
        """Return what an instrument of the job shows for a value: in its unit, with its digits."""
        known = self.catalogue.quantities[quantity]
        unit = shown_unit(known, self.sheets.shows())
        if unit == known.unit:
            return value
        return convert(value, known.unit, unit).quantize(Decimal(1).scaleb(-known.also[unit]))

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
        if self.sheets.job.trade != self.procedure.trade.name:
            trade = self.procedure.trade.name
            what = f"the job sheet is of {self.sheets.job.trade}, and {self.procedure.name} of {trade}"
            raise Problem(what, where=where, remedy=f"give a job sheet that says `trade: {trade}`")
        self._check_units()
        self._check_people()
        self._check_orders()
        for fact in self.procedure.file.jobsheet:
            if getattr(self.sheets.job, fact.replace("-", "_"), None) in (None, "", ()):
                raise Problem(f"the job sheet lacks {fact!r}, which {self.procedure.name} needs", where=where)
        for placed in self.procedure.gates.values():
            for key, text in placed.gate.texts.items():
                if key == "title":
                    continue
                _names_nobody(text, f"the {key}", str(placed.place))
                try:
                    self.fill(text)
                except (AttributeError, KeyError, IndexError, ValueError) as error:
                    what = f"the {key} names {error} that no sheet has"
                    raise Problem(what, where=str(placed.place), remedy="correct the name in braces") from error
            for ask in placed.gate.effects.asks:
                if ask.quantity not in self.catalogue.quantities:
                    known = ", ".join(self.catalogue.quantities)
                    what = f"there is no quantity {ask.quantity!r}"
                    raise Problem(what, where=str(placed.place), remedy=f"known: {known}")
        return self

    def _check_people(self) -> None:
        """Raise Problem when a second person has to answer, and the job sheet knows none who may."""
        may = any(allowed for _, allowed in self.sheets.job.numbered().values())
        asking = (one for one in self.procedure.gates.values() if one.gate.effects.answered_by == "second person")
        first = next(asking, None)
        if first is not None and not may:
            what = f"a second person answers at {first.id}, and the job sheet names nobody with a number who may"
            remedy = "write `second_person:` with its people into the job sheet"
            raise Problem(what, where=str(first.place), remedy=remedy)

    def _check_orders(self) -> None:
        """Raise Problem when the language led in lacks the order of a stop."""
        for text in self.procedure.untranslated:
            if text.order:
                what = f"the order of this stop has no {text.language}: {text.text}"
                remedy = f"write `{text.language}: …`; no order is left out"
                raise Problem(what, where=str(text.place), remedy=remedy)

    def _check_units(self) -> None:
        """Raise Problem when an instrument shows a unit that nothing is called in."""
        for own, shown in self.sheets.shows().items():
            known = {unit for one in self.catalogue.quantities.values() if one.unit == own for unit in one.also}
            if shown not in known:
                what = f"an instrument of the job sheet shows {shown} for {own}, which no quantity is called in"
                remedy = f"known for {own}: {', '.join(sorted(known)) or 'none'}"
                raise Problem(what, where=self.procedure.documents[0].file, remedy=remedy)


def _names_nobody(text: str, what: str, where: str) -> None:
    """Refuse a text that would say a name: what is said stays in the record, and a name must be erasable."""
    if "{job.technician" in text or "{job.second_person" in text:
        raise Problem(
            f"{what} names a person, and what is said stays in the record for ever",
            where=where,
            remedy="leave the name out: it is kept apart, where it can be erased",
        )
