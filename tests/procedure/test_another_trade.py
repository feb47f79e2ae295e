"""The language serves another trade: an extract fan is commissioned by the same visit, without code of its own."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from handsfree.events import decisions as ev
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.sheets import load_sheets
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal

PROCEDURES = Path(__file__).parents[2] / "procedures"
FAN = Path(__file__).parents[2] / "handsfree" / "trades" / "ventilation" / "example" / "jobsheet.yaml"


def rehearsed(*words: str) -> Rehearsal:
    sheets, _ = load_sheets(FAN)
    plan = Plan(load_procedure(PROCEDURES / "extract-ventilation.yaml"), sheets).check()
    rehearsal = Rehearsal(plan, date(2026, 11, 25))
    for said in words:
        rehearsal.until_asking()
        rehearsal.say(said)
    return rehearsal


BEFORE = ("the same", "none at all", "in order", "written down", "written down", "closed", "running")


def terminal(flow: str) -> tuple[str, ...]:
    return ("placed", flow, "confirmed", "lifted", "confirmed")


def verdicts(rehearsal: Rehearsal) -> list[tuple[str, str]]:
    return [(event.gate, event.outcome) for event in rehearsal.events if isinstance(event, ev.VerdictGiven)]


def test_three_terminals_are_set_and_everything_is_put_back():
    """The kitchen's 13 l/s is reached only after a step of its valve; each limit is its own room's."""
    kitchen = ("placed", "ten point five", "confirmed", "opened", "twenty one point five", "confirmed")
    kitchen += ("locked", "confirmed", "lifted", "confirmed")
    after = ("nine point five", "confirmed", "ended", "confirmed", "as found", "confirmed", "shown", "confirmed")
    visit = rehearsed(*BEFORE, *kitchen, *terminal("eight point oh"), *terminal("six point two"), *after)
    assert verdicts(visit) == [
        ("kitchen/air-flow-verdict", "outside"),
        ("kitchen/again-verdict", "within"),
        ("bathroom/air-flow-verdict", "within"),
        ("toilet/air-flow-verdict", "within"),
    ]
    assert visit.state.gate == "finished"
    assert not visit.state.altered


def test_too_little_air_stops_after_putting_the_terminal_back():
    kitchen = ("placed", "ten point five", "confirmed", "not done because it is open already")
    visit = rehearsed(*BEFORE, *kitchen, "lifted", "confirmed")
    assert visit.state.status == "stopped"
    assert set(visit.state.altered) == {"boost", "windows"}


def test_an_edge_is_within():
    """Exactly the rate asked for is enough: the tables give minimum rates."""
    visit = rehearsed(*BEFORE, "placed", "thirteen point oh", "confirmed", "one three point zero")
    assert verdicts(visit) == [("kitchen/air-flow-verdict", "within")]
