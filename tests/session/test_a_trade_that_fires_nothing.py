"""A trade in which nothing runs and no two quantities sound alike: its hazards stop, its values are taken."""

from __future__ import annotations

from decimal import Decimal

from rehearsed import DAY, ROOT, shipped

from handsfree.events.state import State
from handsfree.gates.visit import Utterance
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


def asks_which(plan: Plan, meaning: Values, *rivals: Values) -> bool:
    return decide._ambiguous(Draft(plan, State()), meaning, Utterance(0, "", rivals))


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
