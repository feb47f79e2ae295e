"""Carrying out the calculation that a verdict gate names, on what the visit has read."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from handsfree.events.state import State
from handsfree.gates.visit import Judging
from handsfree.lexicon.meaning import InUnit
from handsfree.lexicon.numbers import MOST_DECIMALS
from handsfree.measurement.reading import Reading
from handsfree.measurement.uncertainty import combined, of_resolution
from handsfree.session.plan import Plan
from handsfree.session.situation import numeric
from handsfree.trades.calculation import Calculation, Case, JudgedValue, Judgement

HUNDREDTH = Decimal("0.01")


def judge(plan: Plan, state: State, judging: Judging) -> Judgement:
    """Carry out the calculation a verdict gate names."""
    calculation = plan.trade.calculations[judging.calculation]
    return calculation.judge(case_of(plan, state, judging, calculation))


def case_of(plan: Plan, state: State, judging: Judging, calculation: Calculation) -> Case:
    """Return what the calculation may know: of the readings, no more than its signature declares."""
    values: dict[str, dict[str, JudgedValue]] = {}
    for name in calculation.inputs:
        quantities = calculation.reads(name, judging.limits)
        others = [plan.trade.other_units[one] for one in quantities if one in plan.trade.other_units]
        found = {one: _value(plan, state, judging.using[name], one) for one in (*quantities, *others)}
        values[name] = {quantity: value for quantity, value in found.items() if value is not None}
    return Case(
        sheets=plan.sheets,
        day=date.fromisoformat(state.day),
        words=SpokenForms(plan),
        values=values,
        doubted={name: state.doubted(judging.using[name]) for name in calculation.inputs},
        rate=judging.rate,
        limits=None if judging.limits is None else judging.limits.on(plan.sheets),
    )


def _value(plan: Plan, state: State, kept_at: str, quantity: str) -> JudgedValue | None:
    """Return a settled value, else the last accepted one of the measurement point."""
    settled = state.settled.get(kept_at, {}).get(quantity)
    if settled is not None:
        return _judged(plan, settled.reading.reading, settled.uncertainty)
    sets = state.readings(kept_at)
    reading = numeric(sets[-1].values).get(quantity) if sets else None
    if reading is None:
        return None
    record = sets[-1].values[quantity]
    called = InUnit(Decimal(record.called), record.called_unit) if record.called_unit else None
    return replace(_judged(plan, reading, Decimal(0)), called=called)


def _judged(plan: Plan, reading: Reading, settling: Decimal) -> JudgedValue:
    own = combined(of_resolution(float(reading.resolution)), float(settling))
    return JudgedValue(reading, plan.trade.instrument_uncertainty(plan.sheets, reading), own)


@dataclass(frozen=True)
class SpokenForms:
    """How the tool says things on a visit."""

    plan: Plan

    def say(self, saying: str, **blanks: str) -> str:
        """Return one of the tool's sayings, filled in."""
        return self.plan.catalogue.say(saying, **blanks)

    def subject(self, key: str) -> str:
        """Return what a verdict speaks of: a subject of the language, else a quantity's name."""
        return self.plan.catalogue.subjects.get(key) or self.plan.name(key)

    def name(self, quantity: str) -> str:
        """Return a quantity's name."""
        return self.plan.name(quantity)

    def digits(self, number: Decimal) -> str:
        """Return a number in words; one that was converted is rounded to hundredths."""
        places = -int(number.as_tuple().exponent)
        return self.plan.numbers.digits(number if places <= MOST_DECIMALS else number.quantize(HUNDREDTH))

    def value(self, value: JudgedValue) -> str:
        """Return a value in words, in the unit it was called in."""
        if value.called is None:
            return self.digits(value.number)
        return f"{self.digits(value.called.value)} {self.plan.catalogue.units[value.called.unit].said}"
