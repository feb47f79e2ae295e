"""The supervisor's list: a good visit passes; each fault, put into the record's events one at a time, is told."""

from dataclasses import replace

import pytest

from handsfree.desk.evidence import AssessedAs, Evidence
from handsfree.desk.forms import forms_of
from handsfree.desk.record import Recorded, load
from handsfree.desk.supervision import judge
from handsfree.events import decisions as ev


@pytest.fixture(scope="module")
def good(recorded):
    return load(recorded / "whole")


def results(recorded: Recorded, **more) -> dict[str, tuple[str, str]]:
    judged = judge(Evidence(recorded, **more))
    return {item.says: (item.finding.result.value, item.finding.why) for line in judged for item in line.items}


def changed(recorded: Recorded, change) -> Recorded:
    """The record with each event replaced by what `change` returns for it: itself, another, or None for gone."""
    steps = []
    for step in recorded.steps:
        event = change(step.event)
        if event is not None or step.event is None:
            steps.append(replace(step, event=event))
    return replace(recorded, steps=tuple(steps))


def reading(**wanted):
    """A change of the accepted and settled values of a quantity."""

    def change(event):
        if isinstance(event, ev.ReadingAccepted | ev.ValueSettled) and event.reading.quantity in wanted:
            new = event.reading.model_copy(update={"value": wanted[event.reading.quantity]})
            return event.model_copy(update={"reading": new})
        return event

    return change


def without(kind, **members):
    """A change that takes out the events of a class with these members."""

    def change(event):
        same = isinstance(event, kind) and all(getattr(event, name) == value for name, value in members.items())
        return None if same else event

    return change


def with_members(kind, update, **members):
    """A change of members of the events of a class."""

    def change(event):
        same = isinstance(event, kind) and all(getattr(event, name) == value for name, value in members.items())
        return event.model_copy(update=update) if same else event

    return change


def supply_outside(event):
    if isinstance(event, ev.VerdictGiven) and event.calculation == "supply-pressure":
        return event.model_copy(update={"outcome": "outside", "sentence": "working pressure 5.0 mbar outside"})
    return event


def everything_within(event):
    if isinstance(event, ev.VerdictGiven) and event.calculation in {"combustion-at-rate", "rates-compared"}:
        return event.model_copy(update={"outcome": "within", "demonstrated": True})
    return event


def answered_otherwise(gate, outcome):
    return with_members(ev.GatePassed, {"outcome": outcome}, gate=gate)


FAULTS = {
    "another boiler": (
        "Serial number is the one on the job sheet",
        answered_otherwise("boiler-serial", "different"),
    ),
    "analyser out of date": (
        "Instrument in date",
        with_members(ev.VerdictGiven, {"outcome": "outside"}, calculation="instrument-in-date"),
    ),
    "analyser never zeroed": ("Zeroed in fresh air", without(ev.GatePassed, gate="analyser-zeroed")),
    "CO2 that the O2 forbids": ("CO₂ and O₂ belong together", reading(co2="10.8")),
    "another gas": ("Implied highest CO₂ fits the fuel", reading(co2="11.0")),
    "CO over the maker's limit": ("CO recomputed on the limit's basis", reading(co="180")),
    "flue colder than the return": ("Flue above the return water, and near it", reading(flue_temperature="35")),
    "flue far above the return": ("Flue above the return water, and near it", reading(flue_temperature="110")),
    "minimum never settled": (
        "Settled at both rates",
        lambda event: None if isinstance(event, ev.ValueSettled) and "minimum" in event.kept_at else event,
    ),
    "readings that a later turn overtook": (
        "Settled at both rates",
        lambda event: ev.SetVoided(kept_at="final-maximum", why="the adjuster was turned")
        if isinstance(event, ev.VerdictGiven) and event.gate == "final-verdict"
        else event,
    ),
    "a restore forgotten": ("Everything altered was put back", without(ev.Restored, thing="inlet-nipple")),
    "a setting put back wrong": (
        "Settings are as found",
        lambda event: event.model_copy(
            update={"reading": event.reading.model_copy(update={"value": "1.2"})}
        )
        if isinstance(event, ev.Restored) and event.thing == "outdoor-reset"
        else event,
    ),
    "the cover left off": ("Final readings taken with the cover on", without(ev.Restored, thing="cover")),
    "turned though inside": ("Nothing was turned that was inside as found", everything_within),
    "turned with a wrong supply": ("Gas supply judged before any screw", supply_outside),
    "CO2 moved without a turn": ("Every change of a setting has its turns and their reason", without(ev.Turned)),
    "turned without advice": ("Every change of a setting has its turns and their reason", without(ev.Advised)),
    "limit without a page": (
        "Limits from the maker's manual with page and revision",
        with_members(ev.VerdictGiven, {"sources": ("somebody said",)}, calculation="combustion-at-rate"),
    ),
    "verdict without a rule": (
        "Decision rule stated with each verdict",
        with_members(ev.VerdictGiven, {"rule": ""}),
    ),
    "no lock-up pressure": (
        "Lock-up pressure",
        lambda event: None
        if isinstance(event, ev.ReadingAccepted) and event.reading.quantity == "lockup_pressure"
        else event,
    ),
    "tightness dropping": ("Tightness test", answered_otherwise("tightness", "dropping")),
    "a control never tried": ("Controls tried one by one", without(ev.GatePassed, gate="flow-switch")),
    "no unit": (
        "Each reading has its unit and resolution",
        lambda event: event.model_copy(update={"reading": event.reading.model_copy(update={"unit": ""})})
        if isinstance(event, ev.ReadingAccepted) and event.reading.quantity == "co"
        else event,
    ),
    "the same set at both rates": (
        "Maximum and minimum are not the same set",
        reading(co2="9.2", o2="4.7", co="29"),
    ),
    "only round values": ("Not all values are round", reading(co2="9.0", o2="5.0")),
    "no signatures": ("Customer was asked to sign", without(ev.GatePassed, gate="signatures")),
    "other sheets": (
        "The sheets in the folder are those that were run",
        with_members(ev.VisitOpened, {"sheets_sha256": {"jobsheet.yaml": "0" * 64}}),
    ),
    "read too soon": (
        "Waited long enough after the last change",
        None,
    ),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_fails_the_thing_that_it_breaks(good, fault):
    """Each item passes on the good visit and fails once the fault is in the record."""
    says, change = FAULTS[fault]
    assert results(good)[says][0] == "pass", results(good)[says]
    bad = changed(good, change) if change else read_too_soon(good)
    assert results(bad)[says][0] == "fail", results(bad)[says]


def read_too_soon(good: Recorded) -> Recorded:
    """The good visit with one turn called a minute before the readings that follow it."""
    turn = next(step for step in good.steps if isinstance(step.event, ev.Turned))
    after = next(step for step in good.steps if step.seq > turn.seq and isinstance(step.event, ev.ReadingAccepted))
    late = [replace(step, at=after.at - 60_000) if step is turn else step for step in good.steps]
    return replace(good, steps=tuple(late))


def test_a_visit_that_never_came_to_a_gate_cannot_tell(recorded):
    """What lies after a stop is not failed: it cannot be told."""
    found = results(load(recorded / "stopped"))
    assert found["Customer was asked to sign"][0] == "cannot tell"
    assert found["Lock-up pressure"][0] == "cannot tell"


@pytest.mark.parametrize("outcome", ["stopped", "made-safe", "left-as-reported"])
def test_the_gate_at_which_a_visit_stopped_was_not_answered(recorded, outcome):
    """However the visit was left after the stop, nothing shows that the work at that gate was done."""
    stopped = changed(load(recorded / "stopped"), with_members(ev.VisitClosed, {"outcome": outcome}))
    evidence = Evidence(stopped)
    assert not evidence.finished
    assert evidence.gates[-1].gate.endswith("minimum-turn")
    assert evidence.gates[-1].outcome == ""


def test_a_visit_left_altered_fails_and_names_what_is_altered(recorded):
    """A stop leaves things altered; the list says which."""
    result, why = results(load(recorded / "stopped"))["Everything altered was put back"]
    assert result == "fail"
    assert "Probe inserted" in why


def test_not_done_is_a_fail_with_its_reason_and_never_a_pass(good):
    """A gate passed undone shows its reason."""
    undone = ev.NotDone(at=0, gate="tightness", reason="no gauge with me", sound=None)
    steps = (*good.steps[:-1], replace(good.steps[-2], event=undone), good.steps[-1])
    found = results(replace(good, steps=steps))
    assert found["Tightness test"] == ("fail", "not done: no gauge with me")
    assert found["What was not done has its reason"][0] == "pass"


def test_not_done_without_any_reason_fails(good):
    """A blank without a reason is told."""
    undone = ev.NotDone(at=0, gate="tightness", reason="", sound=None)
    steps = (*good.steps[:-1], replace(good.steps[-2], event=undone), good.steps[-1])
    assert results(replace(good, steps=steps))["What was not done has its reason"][0] == "fail"


def test_values_copied_from_another_visit_fail(good):
    """With the other visits at hand, a copied set is told; without them it cannot be."""
    says = "Not the values of another visit"
    assert results(good)[says][0] == "cannot tell"
    assert results(good, alike=[])[says][0] == "pass"
    assert results(good, alike=["demo-0007 of 2026-11-20"])[says][0] == "fail"


def test_without_the_sheets_nothing_that_needs_them_passes(good):
    """A record whose sheets are gone cannot tell what they would decide."""
    found = results(replace(good, plan=None))
    for says in ("CO₂ and O₂ belong together", "Basis stated for inputs and for CO"):
        assert found[says][0] == "cannot tell"


def test_a_line_is_as_grave_as_its_gravest_item(good):
    """One fail fails its line; a line passes only when everything in it does."""
    for line in judge(Evidence(good)):
        found = {item.finding.result for item in line.items}
        expected = next(
            each for each in (AssessedAs.FAIL, AssessedAs.CANNOT_TELL, AssessedAs.PASS) if each in found
        )
        assert line.result == expected


def test_gates_that_the_list_names_stand_in_the_shipped_procedure(good):
    """A renamed gate would silently become "cannot tell"."""
    evidence = Evidence(good)
    for line in forms_of("combustion").checklist.checklist:
        for item in line.items:
            for gate in item.gates:
                assert evidence.gate_ids([gate]), f"{item.says}: no gate {gate}"


def test_air_free_co_on_the_list_is_the_published_formula(good):
    """CO air-free = CO x 20.9 / (20.9 - O2): the formula that air-free limits are set by (from memory)."""
    why = results(changed(good, reading(co="40", o2="4.7", co2="9.2")))["CO recomputed on the limit's basis"][1]
    assert f"{40 * 20.9 / (20.9 - 4.7):.0f} ppm air-free" in why


def test_the_highest_co2_of_natural_gas_is_the_handbook_value(good):
    """11.7 to 12.0 % for natural gas (tables of maximum CO2; 11.9 % is the common figure, from memory)."""
    why = results(good)["Implied highest CO₂ fits the fuel"][1]
    due = float(why.split(" % for natural gas")[0].rsplit(" ", 1)[-1])
    assert 11.7 <= due <= 12.0
