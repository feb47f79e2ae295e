"""The combustion check: short, no screw, told when adjustment is needed, stopped when CO passes a limit."""

from __future__ import annotations

from decimal import Decimal

import pytest
from led import lead, plan_of
from rehearsed import DAY, hear, of_kind, say, twin, with_fuel

from handsfree.events import decisions as ev
from handsfree.session.rehearsal import Rehearsal

PLAN = plan_of("combustion-check")
LEAN = {"maximum": 8.55, "minimum": 8.6}


def test_it_takes_34_utterances_and_touches_no_screw() -> None:
    """The goal of the trade, not of the program: a check that takes longer is not done."""
    led = lead(PLAN)
    assert led.utterances <= 34
    assert led.closed.outcome == "finished"
    assert not PLAN.procedure.adjusts


def test_out_of_band_with_low_co_is_told_as_adjustment_needed() -> None:
    """Both rates are judged, the customer is told in writing, and the visit may finish."""
    led = lead(PLAN, co2=LEAN)
    assert led.closed.outcome == "finished"
    assert led.closed.verdicts["found-maximum-verdict"] == "outside"
    assert led.closed.verdicts["found-minimum-too"] == "outside"
    assert "Adjustment needed. Tell the customer, in writing." in led.spoken


def test_adjustment_needed_and_nobody_told_does_not_finish() -> None:
    """ "Not done" leads to a stop, and so to a notice."""
    led = lead(PLAN, co2=LEAN, words={"adjustment-needed": "not done because nobody is here"})
    assert (led.visit.state.status, led.visit.state.gate) == ("stopped", "stop-no-turn")


def test_co_at_minimum_is_judged_although_maximum_was_not_read() -> None:
    """CO inside the guard band of the limit, maximum undone: a stop and a notice, never "incomplete"."""
    fuel = with_fuel(co=PLAN.sheets.fuel.co.model_copy(update={"high": Decimal(50)}))  # type: ignore[attr-defined]
    words = {"found-maximum": "not done because it does not hold"}
    led = lead(plan_of("combustion-check", fuel), co2={"maximum": 8.0, "minimum": 8.0}, words=words)
    given = {one.gate: one.outcome for one in of_kind(led.visit.events, ev.VerdictGiven)}
    assert (given["found-maximum-verdict"], given["found-minimum-alone"]) == ("missing", "carbon-monoxide-high")
    assert (led.visit.state.status, led.visit.state.gate) == ("stopped", "stop-no-turn")


def at_the_readings() -> Rehearsal:
    """Return the visit as the first set at maximum is asked for."""
    led = lead(PLAN, words={"found-maximum": "stop work"})
    visit = Rehearsal(PLAN, DAY)
    for _, text in led.said[:-1]:
        visit.until_asking()
        visit.say(text)
    visit.until_asking()
    assert visit.state.gate == "found-maximum"
    return twin(visit)


def test_a_ratio_of_nine_thousandths_turns_the_burner_off() -> None:
    """846 ppm at 9.4 % CO2 is above 0.008 (trade text on CO/CO2): stopped, and left off with a notice."""
    visit = at_the_readings()
    for words in ("nine point four four point four eight four six maximum", "confirmed"):
        hear(visit, words)
    (stopped,) = of_kind(visit.events, ev.Stopped)
    assert stopped.script.startswith("Burner off now.")
    say(visit, "leave it off", "burner switched off", "gas cock closed", "power isolated")
    say(visit, "removed", "fitted", "tag fitted", "person told", "immediately dangerous", "confirmed")
    closed = visit.events[-1]
    assert isinstance(closed, ev.VisitClosed)
    assert closed.outcome == "made-safe"


def test_co_near_the_makers_limit_is_no_mere_adjustment() -> None:
    """170 ppm air-free under a limit of 200 lies inside the guard band: a stop, not "adjustment needed"."""
    other = with_fuel(co=PLAN.sheets.fuel.co.model_copy(update={"high": Decimal(30)}))  # type: ignore[attr-defined]
    led = lead(plan_of("combustion-check", other))
    assert led.visit.state.status == "stopped"


@pytest.mark.parametrize("gate", ["plate-gas", "pipe-gas"])
def test_the_gas_is_called_by_its_name(gate: str) -> None:
    """ "Gas in the pipe?" "Yes." "Name it." "Propane." on a natural-gas sheet: stopped."""
    led = lead(PLAN, words={gate: "stop work"})
    visit = Rehearsal(PLAN, DAY)
    for _, text in led.said[:-1]:
        visit.until_asking()
        visit.say(text)
    visit.until_asking()
    assert visit.state.gate == gate
    asked = [one.text for one in hear(visit, "yes") if isinstance(one, ev.Asked)]
    assert asked == ["Name it."]
    hear(visit, "propane")
    assert (visit.state.status, visit.state.gate) == ("stopped", "stop-wrong-gas")


def test_an_item_named_is_an_exception_and_asked_about() -> None:
    """ "Analyser, fuel: all the same?" "Fuel." asks for the fuel alone, then for the rest again."""
    led = lead(PLAN, words={"analyser-serial": "fuel"})
    gates = [gate for gate, _ in led.said if gate.startswith("analyser-")]
    assert gates[:3] == ["analyser-serial", "analyser-fuel", "analyser-serial"]
    assert led.closed.outcome == "finished"
