"""The rules of the dialogue on advice and on the tool's own voice, one test each."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal

import pytest
from rehearsed import (
    DAY,
    ROOT,
    at,
    of_kind,
    places,
    plan_with,
    play,
    say,
    sheets,
    shipped,
    spoken,
    technician,
    with_appliance,
    with_fuel,
)

from handsfree.events import decisions as ev
from handsfree.gates.adjust import AdjustGate
from handsfree.procedure.procedure import load_procedure
from handsfree.session.advising import advice_for
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.sheets import MakerBand, Sheets


def turned(other: Sheets | None = None) -> tuple[Plan, Rehearsal]:
    """Return a visit that stands at the first turn, with the plan of other sheets from there."""
    visit = at("maximum-turn", "turn")
    return (shipped() if other is None else plan_with(other)), visit


def reason(other: Sheets | None = None) -> str:
    """Return why there is no advice at the first turn, "" when there is some."""
    plan, visit = turned(other)
    gate = plan.gate("maximum-turn").gate
    assert isinstance(gate, AdjustGate)
    advice = advice_for(plan, visit.state, gate)
    return "" if advice.eighths else advice.reason


def test_advice_names_adjuster_direction_and_a_step_the_maker_allows() -> None:
    """ "Throttle screw, counter clockwise, facing the screw, one eighth": richer, as the sheet says."""
    (advice,) = of_kind(at("maximum-turn", "turn").events, ev.Advised)
    assert (advice.adjuster, advice.direction, advice.eighths) == ("throttle screw", "counter-clockwise", 1)
    assert at("maximum-turn", "turn").state.text == (
        "Throttle screw, counter-clockwise, facing the screw, one eighth."
    )
    assert reason() == ""


def test_the_direction_is_the_sheets_own() -> None:
    """Directions differ between makers: the other way round in the sheet is the other way round in the advice."""
    own = sheets().appliance.adjusters
    other = {**own, "maximum": own["maximum"].model_copy(update={"richer": "clockwise"})}
    plan, visit = turned(with_appliance(adjusters=other))
    gate = plan.gate("maximum-turn").gate
    assert isinstance(gate, AdjustGate)
    assert advice_for(plan, visit.state, gate).direction == "clockwise"


def test_no_advice_where_the_maker_forbids_adjustment() -> None:
    """The sheet forbids it."""
    assert reason(with_appliance(adjustment="forbidden")) == "the maker forbids it"


def test_no_advice_without_the_direction() -> None:
    """The sheet lacks the adjuster: see the manual."""
    assert reason(with_appliance(adjusters={})) == "no adjuster loaded: see the manual"


def test_no_advice_while_a_stop_limit_is_open() -> None:
    """The maker's CO limit below what was read forbids every turn."""
    limit = sheets().fuel.co
    assert limit is not None
    assert "maker" in reason(with_fuel(co=limit.model_copy(update={"high": Decimal(5)})))


def test_no_advice_with_gas_pressure_outside_the_plate() -> None:
    """The last supply verdict counts."""
    plan, visit = turned()
    gate = plan.gate("maximum-turn").gate
    assert isinstance(gate, AdjustGate)
    outside = replace(visit.state, verdicts={**visit.state.verdicts, "supply-before-screws": "outside"})
    assert advice_for(plan, outside, gate).reason == "gas pressure is outside the plate"


def test_no_advice_without_a_settled_reading() -> None:
    """Nothing to advise on."""
    plan, visit = turned()
    gate = plan.gate("maximum-turn").gate
    assert isinstance(gate, AdjustGate)
    assert advice_for(plan, replace(visit.state, history=()), gate).reason == "no settled reading"


def test_the_technician_calls_the_turn_made_and_it_is_read_back() -> None:
    """What counts is the turn called, within the advice: `test_turns.py` has what is not."""
    visit = at("maximum-turn", "turn")
    assert spoken(visit.say("counter clockwise one eighth")) == ["Counter-clockwise, one eighth."]
    (turn,) = of_kind(visit.say("confirmed"), ev.Turned)
    assert (turn.direction, turn.eighths) == ("counter-clockwise", 1)


def test_high_carbon_monoxide_with_lean_mixture_is_off_not_leaner() -> None:
    """CO over the maker's limit with O2 above the band: stopped at once (SAFETY A7, makers' manuals)."""
    visit = at("found-maximum")
    say(visit, "eight three six point three one six zero maximum")
    events = visit.say("confirmed")
    for _ in range(4):
        if visit.state.status == "stopped":
            break
        events = visit.say("one six zero")
    (stop,) = of_kind(events, ev.Stopped)
    assert "Burner off" in stop.script


def test_in_the_band_as_found_adjusts_nothing() -> None:
    """A boiler found in its band is led past every screw: no advice, no turn, finished and restored."""
    visit, person = Rehearsal(shipped(), DAY), technician(shipped())
    person.boiler.co2 = {"maximum": 9.4, "minimum": 9.4}
    play(visit, person)
    assert visit.over
    assert not of_kind(visit.events, (ev.Advised, ev.Turned))  # type: ignore[arg-type]
    assert visit.state.altered == {}


def test_in_band_but_not_demonstrated_passes_marked_and_turns_nothing() -> None:
    """Inside the guard band the verdict is within, marked, and leads past the screws."""
    visit, person = Rehearsal(shipped(), DAY), technician(shipped())
    person.boiler.co2 = {"maximum": 9.1, "minimum": 9.1}
    play(visit, person, until="middle-rate")
    given = {event.gate: event for event in of_kind(visit.events, ev.VerdictGiven)}
    verdict = given["found-maximum-verdict"]
    assert (verdict.outcome, verdict.demonstrated) == ("within", False)
    assert "not demonstrated" in " ".join(spoken(visit.events))
    assert not of_kind(visit.events, ev.Advised)


def test_near_a_carbon_monoxide_limit_the_guard_band_fails() -> None:
    """CO as read below the limit but within its uncertainty of it: high (JCGM 106:2012, guarded acceptance)."""
    band = sheets().fuel.co
    assert band is not None
    outcomes = {}
    for limit in ("40", "90"):
        tight = band.model_copy(update={"basis": "as measured", "high": Decimal(limit)})
        plan = plan_with(with_fuel(co=tight))
        visit, person = Rehearsal(plan, DAY), technician(plan)
        person.boiler.co2 = {"maximum": 9.4, "minimum": 9.4}
        play(visit, person, until="middle-rate" if limit == "90" else "first-maximum-hold")
        given = {event.gate: event for event in of_kind(visit.events, ev.VerdictGiven)}["found-maximum-verdict"]
        assert Decimal(given.numbers.get("co", given.numbers["value"])) < 36
        outcomes[limit] = given.outcome
    assert outcomes == {"40": "carbon-monoxide-high", "90": "within"}


def test_a_missing_limit_is_said_never_invented() -> None:
    """No band in the sheet: "No limit loaded: see the manual." """
    plan = plan_with(with_fuel(co2={}))
    visit, person = Rehearsal(plan, DAY), technician(plan)
    play(visit, person, until="band-by-the-manual")
    assert "No limit loaded: see the manual." in spoken(visit.events)


def prompts() -> list[str]:
    texts = [
        text for name, text in shipped().catalogue.sayings.items() if name not in {"finished", "closed-stopped"}
    ]
    texts += [hazard.script for hazard in shipped().catalogue.hazards.values()]
    for name in ("two-rate-combustion", "gas-rate-check", "safe-isolation"):
        procedure = load_procedure(ROOT / "procedures" / f"{name}.yaml")
        texts += procedure.file.cautions
        for placed in procedure.gates.values():
            texts += [shipped().fill(getattr(placed.gate, key, "")) for key in ("prompt", "script")]
    return [text for text in texts if text]


def test_prompts_have_at_most_ten_words() -> None:
    """Everything the tool says by itself and at the shipped gates, the sheets' names filled in."""
    assert [text for text in prompts() if len(text.split()) > 10] == []


@pytest.mark.parametrize(
    "word", ["please", "sorry", "thank", "thanks", "great", "well done", "good", "perfect", "safe"]
)
def test_no_politeness_no_praise_no_safe(word: str) -> None:
    """None of these words is ever said."""
    said = [*prompts(), *spoken(places()["", "end"].events)]
    assert [text for text in said if re.search(rf"\b{word}\b", text.lower())] == []


def test_the_number_comes_last() -> None:
    """Where a saying carries a number or a value, nothing follows it but its unit or the question about it."""
    for name, text in shipped().catalogue.sayings.items():
        blanks = re.findall(r"\{(\w+)\}", text)
        if blanks and blanks[-1] in {"value", "seconds", "turn", "volume"} and name != "finished":
            tail = text.rsplit("}", 1)[1].strip(" .?")
            assert tail in {"", "cannot be", "seconds", "Put it back", "seconds. I will call"}, text


def test_one_question_at_a_time() -> None:
    """No decision of a whole visit asks twice aloud."""
    events, asked = places()["", "end"].events, 0
    for event in events:
        if event.kind in {"heard", "typed", "time-passed", "speech-ended"}:  # type: ignore[attr-defined]
            asked = 0
        if isinstance(event, ev.Asked) and event.text:
            asked += 1
            assert asked == 1


def test_what_was_heard_comes_before_what_to_do() -> None:
    """After a row the values are said before anything is asked of the person."""
    visit = at("found-maximum")
    assert spoken(visit.say("nine three four four one eight maximum"))[0].startswith("CO2 nine point three.")


def test_bands_of_one_rate_do_not_stand_for_the_other() -> None:
    """A band for maximum alone leaves minimum without a limit."""
    plan = plan_with(with_fuel(co2={"maximum": MakerBand(low=Decimal("8.0"), high=Decimal("9.9"), page=1)}))
    visit, person = Rehearsal(plan, DAY), technician(plan)
    play(visit, person, until="band-by-the-manual")
    assert of_kind(visit.events, ev.VerdictGiven)[-1].outcome == "no-limit"
