"""A trade holds its functions: each signature is what is read, a trade of data alone gets verdicts, stops stop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from handsfree.demo.play import scenario_files
from handsfree.events import decisions as ev
from handsfree.gates.block import Limits
from handsfree.measurement.reading import Reading
from handsfree.measurement.uncertainty import expanded, of_resolution
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.sheets import load_sheets
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.calculation import (
    MISSING,
    OUTSIDE,
    TOO_CLOSE,
    WITHIN,
    Calculation,
    Case,
    JudgedValue,
    Judgement,
)
from handsfree.trades.general import readings_agree
from handsfree.trades.plausibility import Known
from handsfree.trades.registry import names, trade
from handsfree.trades.sheets import Sheets
from handsfree.trades.stops import LimitsByQuantity, StopLimit
from handsfree.trades.trade import Trade

D = Decimal
FAN_SHEET = Path(__file__).parents[2] / "handsfree" / "trades" / "ventilation" / "example" / "jobsheet.yaml"
PROCEDURES = Path(__file__).parents[2] / "procedures"
DAY = date(2026, 11, 25)


def sheets() -> Sheets:
    return load_sheets(scenario_files()[0])[0]


def sheets_of(name: str) -> Sheets:
    """Return the invented sheets of a trade."""
    own = FAN_SHEET.parents[2] / name / "example" / "jobsheet.yaml"
    return load_sheets(own)[0] if own.is_file() else sheets()


class Plainly:
    """Says everything by its name."""

    def say(self, saying: str, **blanks: str) -> str:
        return f"{saying} {blanks}"

    def subject(self, key: str) -> str:
        return key

    def name(self, quantity: str) -> str:
        return quantity

    def digits(self, number: Decimal) -> str:
        return f"{number}"

    def value(self, value: JudgedValue) -> str:
        return f"{value.number}"


USUAL = {
    "co2": "9.40", "o2": "4.40", "co": "18", "ambient_co": "2", "air_duct_o2": "20.9", "air_duct_co2": "0.05",
    "standing_pressure": "21.5", "working_pressure": "19.8", "gas_volume_metric": "0.050", "meter_time": "80.5",
    "gas_volume_imperial": "1.77", "air_flow": "31", "suction_pressure": "8.0", "liquid_pressure": "24.0",
    "suction_line_temperature": "12.0", "liquid_line_temperature": "33.0",
    "outdoor_temperature": "32.0", "indoor_wet_bulb": "18.0",
}  # fmt: skip
IN_GATE = Limits(quantity="air_flow", low=D(30), accuracy=D(2), source="written here")


def value(quantity: str, text: str) -> JudgedValue:
    unit = {"pressure": "bar", "temperature": "Cel", "bulb": "Cel"}.get(quantity.rpartition("_")[2], "1")
    reading = Reading.written(quantity, text, unit)
    return JudgedValue(reading, 0.0, of_resolution(float(reading.resolution)))


@dataclass(frozen=True)
class Watched(Case):
    """A case that keeps what was asked of it."""

    asked: set[tuple[str, str]] = field(default_factory=set)

    def value(self, name: str, quantity: str) -> JudgedValue | None:
        self.asked.add((name, quantity))
        return super().value(name, quantity)


def declared(calculation: Calculation, of: Trade) -> set[tuple[str, str]]:
    """Return every input and quantity that a signature names, in either of its units."""
    named = [(name, one) for name in calculation.inputs for one in calculation.reads(name, IN_GATE)]
    return {*named, *((name, of.other_units[one]) for name, one in named if one in of.other_units)}


def asked(calculation: Calculation, of: Trade) -> set[tuple[str, str]]:
    """Return what the calculation asks of its case, whole and with each reading lacking."""
    found: set[tuple[str, str]] = set()
    pairs = declared(calculation, of)
    for lacking in (None, *sorted(pairs)):
        values: dict[str, dict[str, JudgedValue]] = {name: {} for name in calculation.inputs}
        for name, quantity in pairs - {lacking}:
            values[name][quantity] = value(quantity, USUAL[quantity])
        case = Watched(sheets_of(of.name), DAY, Plainly(), values, rate="maximum", limits=IN_GATE)
        calculation.judge(case)
        found |= case.asked
    return found


EVERY = [(one, name) for one in names() for name in trade(one).calculations]


@pytest.mark.parametrize(("of", "name"), EVERY)
def test_a_signature_names_what_is_read_and_nothing_else(of: str, name: str) -> None:
    calculation = trade(of).calculations[name]
    assert asked(calculation, trade(of)) == declared(calculation, trade(of))


@pytest.mark.parametrize("inputs", [{"readings": ()}, {"readings": ("co2", "o2")}])
def test_a_signature_that_names_too_little_or_too_much_is_found(inputs: Mapping[str, tuple[str, ...]]) -> None:
    """The check above can fail: one that reads CO2, declared with nothing, and with O2 beside it."""

    def reads_co2(case: Case) -> Judgement:
        return Judgement(WITHIN if case.value("readings", "co2") else MISSING, "", "")

    wrong = replace(trade("combustion").calculations["ambient-clear"], inputs=inputs, judge=reads_co2)
    assert asked(wrong, Trade("bare")) != declared(wrong, Trade("bare"))


@pytest.mark.parametrize(("of", "name"), EVERY)
def test_a_signature_says_unit_uncertainty_and_source(of: str, name: str) -> None:
    """A result has a unit unless it is a date or the reading itself; outcomes named for turns can occur."""
    calculation = trade(of).calculations[name]
    assert calculation.says.endswith(".")
    assert calculation.uncertainty
    assert calculation.source
    assert (calculation.unit is None) == (not any(calculation.inputs.values()))
    assert calculation.bad <= {*calculation.outcomes}
    assert calculation.turns <= calculation.bad


# A trade of data alone.


def judged(text: str, accuracy: str | None = None) -> Judgement:
    limits = Limits(
        quantity="torque", low=D("10.0"), high=D("12.0"), accuracy=accuracy and D(accuracy), source="x"
    )
    read = {"torque": value("torque", text)} if text else {}
    case = Case(sheets(), DAY, Plainly(), {"readings": read}, limits=limits)
    return Trade("bolting").calculations["reading-in-limits"].judge(case)


@pytest.mark.parametrize(
    ("text", "accuracy", "outcome"),
    [
        ("10.0", None, WITHIN),  # an edge is allowed (JCGM 106:2012, 8.2)
        ("12.0", None, WITHIN),
        ("12.1", None, OUTSIDE),
        ("9.9", None, OUTSIDE),
        ("12.1", "1.0", TOO_CLOSE),  # u = 0.5: 0.2 u beyond the edge, probability 0.42 (normal distribution)
        ("13.0", "1.0", OUTSIDE),  # 2 u beyond it: 0.023, less than 0.05
        ("11.9", "1.0", WITHIN),  # in the band, not demonstrated
        ("", None, MISSING),
    ],
)
def test_a_reading_of_a_trade_that_has_no_functions_is_judged(text: str, accuracy: str, outcome: str) -> None:
    assert judged(text, accuracy).outcome == outcome


def test_a_trade_of_data_alone_leads_a_whole_visit() -> None:
    """The terminal of an extract fan: 10.5 l/s is too little for a kitchen (13 l/s), 21.5 is enough."""
    fan, _ = load_sheets(FAN_SHEET)
    plan = Plan(load_procedure(PROCEDURES / "extract-ventilation.yaml"), fan).check()
    visit = Rehearsal(plan, DAY)
    said = ("the same", "none at all", "in order", "written down", "written down", "closed", "running", "placed")
    for words in (*said, "ten point five", "confirmed", "opened", "twenty one point five", "confirmed"):
        visit.until_asking()
        visit.say(words)
    verdicts = [event.outcome for event in visit.events if isinstance(event, ev.VerdictGiven)]
    assert verdicts == ["outside", "within"]


def test_what_a_trade_does_not_have_is_empty() -> None:
    """No stop, nothing tied, nothing weighed, nothing turned, no uncertainty claimed, nothing asked apart."""
    bare, on = Trade("bare"), sheets()
    reading = Reading.written("co", "900", "[ppm]")
    known = Known(on, this_set={"co": reading})
    assert bare.stops.open(on, {"co": D(900)}) == ()
    assert bare.stops.open_rising(on, "co", D(900)) == ()
    assert not bare.stops.opens(on, {}, reading)
    assert bare.plausibility.judged(known) is None
    assert bare.plausibility.log_prior(known, reading) == 0
    assert bare.adjusting.adjusters(on) == {}
    assert not bare.adjusting.allowed(on)
    assert bare.adjusting.task(on).bands == {}
    assert bare.instrument_uncertainty(on, reading) == 0
    assert (bare.asked_apart, bare.running) == (None, None)
    assert set(bare.calculations) == {"instrument-in-date", "reading-in-limits"}


# Registry.


@pytest.mark.parametrize("name", ["alchemy", "", "../combustion", "__pycache__"])
def test_an_unknown_trade_is_told_with_those_that_are_known(name: str) -> None:
    with pytest.raises(Problem, match=r"there is no trade .*known: .*combustion"):
        trade(name)


# Stops of one quantity each, with invented limits.

HIGH = StopLimit("pressure-relief", D(42), "bar", "at or above", "evacuate", "invented")
WARM = StopLimit("pressure-high", D(38), "bar", "above", "off", "invented")
SEARCH = StopLimit("pressure-odd", D(30), "bar", "above", "hold", "invented")
COLD = StopLimit("line-cold", D(-30), "Cel", "below", "off", "invented")
BY_QUANTITY = LimitsByQuantity(
    over_range=frozenset({"pressure"}), limits={"pressure": (SEARCH, WARM, HIGH), "line": (COLD,)}
)


@pytest.mark.parametrize(
    ("values", "opened"),
    [
        ({"pressure": D(30)}, []),
        ({"pressure": D(31)}, []),  # it only asks to search
        ({"pressure": D(38)}, []),
        ({"pressure": D("38.1")}, ["pressure-high"]),
        ({"pressure": D(42)}, ["pressure-relief", "pressure-high"]),
        ({"line": D(-31), "pressure": D(45)}, ["pressure-relief", "line-cold", "pressure-high"]),
        ({"pressure": "over range"}, ["pressure-relief"]),
        ({"line": "over range"}, []),  # it has no upper limit
        ({"pressure": "no reading", "other": D(99)}, []),
    ],
)
def test_limits_by_quantity_stop_the_gravest_first(values: dict[str, Decimal], opened: list[str]) -> None:
    found = BY_QUANTITY.open(sheets(), values)
    assert [stop.name for stop in found] == opened
    assert [stop.severity for stop in found] == sorted((s.severity for s in found), key=["evacuate", "off"].index)


def test_a_candidate_that_passes_a_limit_is_known_even_when_it_only_asks_to_search() -> None:
    assert BY_QUANTITY.opens(sheets(), {}, Reading.written("pressure", "31", "bar"))
    assert not BY_QUANTITY.opens(sheets(), {}, Reading.written("pressure", "30", "bar"))


def test_over_range_of_a_quantity_without_an_upper_limit_is_refused() -> None:
    with pytest.raises(Problem, match="over range of line cannot stop the work"):
        LimitsByQuantity(over_range=frozenset({"line"}), limits={"line": (COLD,)})


# Combustion through the same doors as any trade.


def known_pair(carbon: str, oxygen: str) -> Known:
    pair = {"co2": Reading.written("co2", carbon, "%"), "o2": Reading.written("o2", oxygen, "%")}
    return Known(sheets(), rate="maximum", this_set=pair)


@pytest.mark.parametrize(
    ("carbon", "oxygen", "consistent", "near"),
    [
        ("9.4", "4.3", True, False),  # natural gas: 11.7 to 12.0 x (1 - 4.3/20.9) = 9.3 to 9.5 (published tables)
        ("9.9", "4.3", False, True),  # half a point more than belongs to it; the maker's band ends at 9.9
        ("9.0", "5.0", True, True),  # 8.9 to 9.1; the maker's band begins at 8.9
        ("10.4", "5.1", False, False),  # a pair of propane: 13.7 x (1 - 5.1/20.9) = 10.4
    ],
)
def test_co2_and_o2_are_tied_by_the_fuel(carbon: str, oxygen: str, consistent: bool, near: bool) -> None:
    found = trade("combustion").plausibility.judged(known_pair(carbon, oxygen))
    assert found is not None
    assert (found.consistent, found.near_limit, found.quantities) == (consistent, near, ("co2", "o2"))
    assert ("propane" in found.fits) == (carbon == "10.4")


def test_half_a_pair_is_not_judged() -> None:
    known = known_pair("9.4", "4.3")
    for lacking in ("co2", "o2"):
        rest = {name: one for name, one in known.this_set.items() if name != lacking}
        assert trade("combustion").plausibility.judged(replace(known, this_set=rest)) is None


@pytest.mark.parametrize(
    ("quantity", "text", "uncertainty"),
    [
        ("co2", "9.4", expanded(0.3)),
        ("o2", "4.4", expanded(0.3)),
        ("co", "100", expanded(20.0)),  # EN 50379-2: 20 ppm or 5 %, the larger (from memory)
        ("co", "1000", expanded(50.0)),
        ("working_pressure", "20.0", 0.0),
    ],
)
def test_the_analyser_leaves_its_readings_uncertain(quantity: str, text: str, uncertainty: float) -> None:
    unit = {"pressure": "bar", "temperature": "Cel", "bulb": "Cel"}.get(quantity.rpartition("_")[2], "1")
    reading = Reading.written(quantity, text, unit)
    assert trade("combustion").instrument_uncertainty(sheets(), reading) == pytest.approx(uncertainty)


@pytest.mark.parametrize(("second", "outcome"), [("9.60", WITHIN), ("9.20", WITHIN), ("9.61", OUTSIDE)])
def test_two_readings_of_anything_may_be_compared(second: str, outcome: str) -> None:
    """Their difference is held against the room given, the edge included."""
    alike = readings_agree("torque", D("0.2"), "N.m", name="torque", subject="passes", lacking="torque")
    read = {"first": {"torque": value("torque", "9.40")}, "second": {"torque": value("torque", second)}}
    assert alike.judge(Case(sheets(), DAY, Plainly(), read)).outcome == outcome
    del read["second"]
    assert alike.judge(Case(sheets(), DAY, Plainly(), read)).outcome == MISSING
