"""A trade in which nothing runs and no two quantities sound alike: its hazards stop, its values are taken."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from rehearsed import DAY, ROOT, shipped

from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.gates.visit import Understanding
from handsfree.lexicon.meaning import Values
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.sheets import load_sheets
from handsfree.session import decide
from handsfree.session.draft import Draft
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal

SHEETS = ROOT / "handsfree" / "trades" / "cooling" / "example" / "jobsheet.yaml"
CO, CO2 = Values((("co", Decimal(28)),)), Values((("co2", Decimal(8)),))


def cooling() -> Plan:
    procedure = load_procedure(ROOT / "procedures" / "split-cooling-charge.yaml")
    return Plan(procedure, load_sheets(SHEETS)[0]).check()


def charging(plan: Plan) -> Rehearsal:
    """Return a visit that asks for the pressures and temperatures of a running unit."""
    visit = Rehearsal(plan, DAY)
    draft = Draft(plan, replace(visit.state, gate="", altered=dict.fromkeys(plan.things, "")))
    draft.enter("charge")
    visit.state = replace(draft.state, speaking=False, silent_since=draft.state.now)
    visit.until_asking()
    return visit


def read(visit: Rehearsal, bar: str) -> None:
    """Call the high side, and confirm it as it is read back."""
    visit.say(f"liquid pressure {bar}")
    visit.say("confirmed")


def test_a_high_side_above_the_plates_pressure_stops_the_visit() -> None:
    """The invented plate says 42 bar (PS, Directive 2014/68/EU, article 2): 42.0 is allowed, 42.1 is not."""
    for bar, stopped in (("forty two point zero", False), ("forty two point one", True)):
        visit = charging(cooling())
        read(visit, bar)
        assert (visit.state.status == "stopped") == stopped, bar
    (stop,) = [event for event in visit.events if isinstance(event, ev.Stopped)]
    assert stop.detail == "high-side 42.1 bar, above 42 bar"
    assert stop.script == "Above the plate's pressure. Unit off at its isolator. Stand clear."
    assert "2014/68/EU" in stop.source


def test_without_a_pressure_on_the_sheet_nothing_is_invented() -> None:
    """The plate may be illegible: then no limit is loaded, and none is guessed."""
    sheets = load_sheets(SHEETS)[0]
    appliance = sheets.appliance.model_copy(update={"highest_pressure": None})
    silent = sheets.model_copy(update={"appliance": appliance})
    visit = charging(Plan(cooling().procedure, silent).check())
    read(visit, "forty two point one")
    assert visit.state.status == "running"


def asks_which(plan: Plan, meaning: Values, *competing: Values) -> bool:
    return decide._ambiguous(Draft(plan, State()), meaning, Understanding(0, "", competing))


def test_every_hazard_of_a_trade_in_which_nothing_runs_stops_the_work() -> None:
    for name, hazard in cooling().catalogue.hazards.items():
        visit = Rehearsal(cooling(), DAY)
        visit.say(hazard.heard[0])
        assert visit.state.status == "stopped", name


def test_one_value_is_taken_where_no_two_quantities_sound_alike() -> None:
    one = Values((("suction_pressure", Decimal("8.5")),))
    assert not asks_which(cooling(), one, Values((("liquid_pressure", Decimal("8.5")),)))


def test_a_whole_row_is_no_single_value_that_could_be_another() -> None:
    """Not even where CO alone and CO2 alone were near it."""
    assert asks_which(shipped(), CO, CO2)
    assert not asks_which(shipped(), Values((*CO2.values, ("o2", Decimal("4.4")))), CO, CO2)
