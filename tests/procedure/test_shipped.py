"""The shipped procedures: whole, in trade order, and never past a stop."""

from __future__ import annotations

import re
from collections import deque
from pathlib import Path

import pytest

from handsfree.lexicon.catalogue import english
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.calculations import CALCULATIONS
from handsfree.procedure.model import (
    AdjustGate,
    ChoiceGate,
    ConfirmGate,
    FinishGate,
    ReadingsGate,
    RestoreGate,
    StopGate,
    TimedGate,
    VerdictGate,
)
from handsfree.procedure.procedure import DONE, ENDS, FINISHED, STOPPED, Procedure, load_procedure
from handsfree.procedure.sheets import load_sheets

ROOT = Path(__file__).parents[2]
NAMES = ("two-rate-combustion", "gas-rate-check", "safe-isolation")
SHIPPED = {name: load_procedure(ROOT / "procedures" / f"{name}.yaml") for name in NAMES}
VISIT = SHIPPED["two-rate-combustion"]

# What a commissioning visit contains, in the order of the trade, and the gates it is done at. Common practice,
# no source: local code, licence class and the maker's start-up sheet decide.
STEPS: dict[str, tuple[str, ...]] = {
    "customer, site, contact": ("site", "permission"),
    "analyser, manometer, monitor: serial, date, zero": (
        "analyser-serial",
        "analyser-date",
        "analyser-zeroed",
        "water-trap-empty",
        "sample-line",
        "analyser-fuel",
        "manometer",
        "personal-monitor",
    ),
    "ambient CO on entry": ("ambient-entry", "ambient-entry-verdict", "entry-source", "entry-monitor"),
    "make, model, serial, firing range": ("boiler-model", "boiler-serial", "firing-range"),
    "gas on plate against gas in the pipe, kit, orifice": ("plate-gas", "pipe-gas", "conversion"),
    "valve setting, software, altitude": ("valve-and-software", "altitude"),
    "vent material, length, terminal; other appliances": ("vent-material", "other-appliances"),
    "settings as found": ("settings-as-found", "reset-as-found", "set-point-as-found"),
    "isolate, lock, prove dead": (
        "isolation/people-told",
        "isolation/normal-shut-down",
        "isolation/power-isolated",
        "isolation/lock-fitted",
        "isolation/gas-closed",
        "isolation/tester-before",
        "isolation/prove-dead",
        "isolation/tester-after",
    ),
    "covers, wiring, exchanger, seals, electrode, filter, marks": (
        "cover-off",
        "wiring",
        "heat-exchanger",
        "burner-seals",
        "electrode",
        "filter",
        "water-marks",
    ),
    "air intake and vent": ("intake-and-vent", "terminal"),
    "condensate: trap filled, neutraliser, drain, frost": ("trap", "condensate-drain", "condensate-seen"),
    "water: pressure, air, relief, expansion, quality, flow": (
        "water-pressure",
        "air-vented",
        "relief-and-expansion",
        "water-quality",
        "water-flow",
        "heat-sink",
    ),
    "let-by and tightness": ("meter-valve-closed", "meter-gauge", "let-by", "tightness", "meter-valve-open"),
    "standing pressure, purge": ("inlet-gauge", "gas-open", "gas-purged", "standing-pressure"),
    "power back, polarity, earth, sensor": ("lock-off", "power-on", "polarity-and-earth", "outdoor-sensor"),
    "probe in, plug out, cover on": ("plug-out", "probe-in", "cover-on"),
    "reset and set point raised, call for heat": ("reset-raised", "set-point-raised", "heat-call"),
    "pre-purge and smooth light-up, several times": ("light-up", "light-again", "final-light-ups"),
    "maximum held, working pressure at full load, drop from the meter": (
        "added-load-on",
        "maximum-hold",
        "working-pressure",
        "meter-pressure",
        "added-load-off",
        "supply-verdict",
        "supply-by-the-manual",
    ),
    "as found at maximum, settled": ("found-maximum", "found-maximum-hold", "found-maximum-verdict"),
    "temperatures, fan speed, flame current, offset and vent pressure": (
        "found-maximum-temperatures",
        "found-maximum-signals",
        "found-maximum-draught",
        "found-minimum-temperatures",
        "found-minimum-signals",
        "final-temperatures",
    ),
    "no rumble": ("flame-sound",),
    "meter timing, others off": tuple(
        f"{at}/{gate}"
        for at in ("input-found", "input-final")
        for gate in ("steady", "others-off", "time-the-meter", "others-on", "input-verdict", "by-the-manual")
    ),
    "air-duct integrity": (
        "air-flue-plug",
        "air-probe-in",
        "air-duct",
        "air-port-closed",
        "air-duct-verdict",
        "flue-plug-out",
        "probe-back",
    ),
    "as found at minimum, rule between the rates": (
        "minimum-hold",
        "found-minimum",
        "found-minimum-verdict",
        "found-rule",
        "band-by-the-manual",
    ),
    "adjust at maximum in the maker's order": (
        "supply-before-screws",
        "first-maximum-hold",
        "first-maximum",
        "first-maximum-verdict",
        "maximum-screw",
        "maximum-cover-off",
        "maximum-grommet-off",
        "maximum-cap-off",
        "maximum-turn",
        "maximum-close",
    ),
    "then at minimum, then back to maximum": (
        "first-minimum-hold",
        "first-minimum",
        "first-minimum-verdict",
        "first-rule",
        "minimum-screw",
        "minimum-cover-off",
        "minimum-grommet-off",
        "minimum-cap-off",
        "minimum-turn",
        "minimum-close",
        "minimum-again",
        "minimum-again-verdict",
        "minimum-again-hold",
    ),
    "rechecked at both rates until two passes agree": (
        "second-maximum-hold",
        "second-maximum",
        "second-maximum-verdict",
        "second-minimum-hold",
        "second-minimum",
        "second-minimum-verdict",
        "second-rule",
        "maximum-agrees",
        "minimum-agrees",
    ),
    "middle rate if asked": ("middle-rate",),
    "high limit": ("high-limit",),
    "low water": ("low-water",),
    "gas pressure switch": ("gas-pressure-switch",),
    "blocked vent and condensate": ("blocked-vent", "blocked-condensate"),
    "flow switch": ("flow-switch",),
    "flame failure": ("flame-failure",),
    "lock-up pressure after firing": ("hold-off", "heat-call-off", "burner-at-rest", "lockup-pressure"),
    "leak test of disturbed joints, off and firing": (
        "nipples-closed",
        "leak-test-off",
        "heat-call-again",
        "leak-test-firing",
        "flue-plug-leak",
    ),
    "ports, caps, cover": ("closed-up",),
    "maximum repeated with the cover fitted": (
        "final-hold",
        "final-maximum",
        "final-verdict",
        "final-by-the-manual",
    ),
    "ambient CO again": ("ambient-exit", "ambient-exit-verdict", "exit-monitor"),
    "service mode and settings restored": ("hold-released", "put-back"),
    "normal cycle seen": ("normal-cycle",),
    "CO alarm where required": ("monoxide-alarm", "alarm-advised"),
    "area clean, labels": ("area-clean", "labels"),
    "user shown, before and after, faults, parts, signatures": (
        "user-shown",
        "before-and-after",
        "faults-and-parts",
        "signatures",
        "finish",
    ),
}

# Condition seen by a person or computed -> the gates and outcomes that must end there.
STOPS: dict[str, tuple[tuple[str, str], ...]] = {
    "stop-not-tight": (
        ("let-by", "rising"),
        ("tightness", "dropping"),
        ("leak-test-off", "leaking"),
        ("leak-test-firing", "leaking"),
    ),
    "stop-wrong-gas": (("plate-gas", "different"), ("pipe-gas", "different"), ("conversion", "wrong")),
    "stop-ambient": (("ambient-entry", "exhausted"), ("ambient-exit-verdict", "find-source")),
    "stop-dry-trap": (("trap", "dry"),),
    "stop-drain": (("condensate-drain", "obstructed"), ("condensate-seen", "obstructed")),
    "stop-rough": (
        ("light-up", "rough"),
        ("light-again", "rough"),
        ("final-light-ups", "rough"),
        ("flame-sound", "rumbling"),
        ("normal-cycle", "rough"),
    ),
    "stop-supply": (("supply-verdict", "outside"), ("supply-before-screws", "outside")),
    "stop-products": (("air-duct-verdict", "outside"), ("flue-plug-leak", "leaking")),
    "stop-input": (("input-final/others-off", "exhausted"), ("input-found/others-off", "exhausted")),
    "stop-no-turn": (
        ("maximum-turn", "no advice"),
        ("minimum-turn", "no advice"),
        ("supply-before-screws", "missing"),
    ),
    "stop-not-set": (("maximum-turn", "exhausted"), ("minimum-turn", "exhausted")),
    "stop-protection": (("high-limit", "faulty"), ("low-water", "faulty"), ("flame-failure", "faulty")),
    "stop-electric": (("polarity-and-earth", "faulty"),),
    "stop-out-of-date": (("analyser-date", "outside"),),
    "stop-fault": (("intake-and-vent", "faulty"), ("heat-exchanger", "faulty"), ("water-flow", "none")),
    "isolation/stop-voltage": (("isolation/prove-dead", "voltage"),),
}


def spoken(text: str) -> str:
    """Return a prompt as the words that are said: letters spelled, marks left out."""
    text = re.sub(r"\{[^}]*\}", "blank", text)
    text = re.sub(r"\bCO2\b", "c o two", text)
    text = re.sub(r"\bO2\b", "o two", text)
    text = re.sub(r"\bCO\b", "c o", text)
    return " ".join(re.findall(r"[a-z0-9']+", text.lower()))


def said_at(procedure: Procedure, gate_id: str) -> list[str]:
    gate = procedure.gates[gate_id].gate
    return [
        text
        for text in (gate.title, getattr(gate, "prompt", None), getattr(gate, "script", None))
        if text is not None
    ]


@pytest.mark.parametrize("name", NAMES)
def test_every_verdict_answers_every_outcome(name: str) -> None:
    """Calculation, inputs, rate and outcomes are the registered ones; what is read was asked for by that name."""
    procedure = SHIPPED[name]
    kept = {}
    for placed in procedure.gates.values():
        if isinstance(placed.gate, ReadingsGate):
            kept[placed.gate.at] = {ask.quantity for ask in placed.gate.ask}
        if isinstance(placed.gate, TimedGate):
            kept[placed.gate.at] = {placed.gate.volume.quantity, "meter_time"}
    for gate_id, placed in procedure.gates.items():
        gate = placed.gate
        if isinstance(gate, VerdictGate):
            signature = CALCULATIONS[gate.calculation]
            assert set(gate.branches) == set(signature.outcomes), gate_id
            assert (gate.rate is not None) == signature.rate, gate_id
            assert set(gate.using) == set(signature.inputs), gate_id
            for name_of_input, quantities in signature.inputs.items():
                assert set(quantities) <= kept[gate.using[name_of_input]], gate_id


def test_every_step_of_a_visit_is_a_gate_and_every_gate_a_step() -> None:
    """The table of the trade and the procedure cover each other; only stops and side ways are left over."""
    placed = [gate_id for gates in STEPS.values() for gate_id in gates]
    assert len(placed) == len(set(placed))
    assert set(placed) <= set(VISIT.gates)
    left = {gate_id for gate_id in VISIT.gates if not isinstance(VISIT.gates[gate_id].gate, StopGate)} - set(
        placed
    )
    assert left == set()


def test_no_step_is_passed_silently() -> None:
    """A gate that asks may be passed by "not done, because", leads to a stop, or must be done."""
    must = {
        gate_id
        for gate_id, placed in VISIT.gates.items()
        if isinstance(placed.gate, ConfirmGate | ChoiceGate | ReadingsGate | TimedGate | AdjustGate)
        and "not done" not in placed.ways
    }
    # What must be done: isolation and power, what a later gate cannot do without, and the hold of a rate.
    assert must == {
        "isolation/power-isolated",
        "isolation/lock-fitted",
        "isolation/gas-closed",
        "isolation/tester-before",
        "isolation/prove-dead",
        "isolation/tester-after",
        "trap",
        "gas-open",
        "lock-off",
        "power-on",
        "plug-out",
        "probe-in",
        "flue-plug-out",
        "probe-back",
        "light-up",
        "maximum-hold",
        "found-maximum-hold",
        "minimum-hold",
        "first-maximum-hold",
        "first-minimum-hold",
        "minimum-again-hold",
        "second-maximum-hold",
        "second-minimum-hold",
        "final-hold",
        "hold-off",
        "burner-at-rest",
        "hold-released",
    }


@pytest.mark.parametrize("stop", STOPS)
def test_what_must_not_go_on_ends_at_a_stop(stop: str) -> None:
    """Each condition leads to its stop, and a stop leads nowhere."""
    assert isinstance(VISIT.gates[stop].gate, StopGate)
    assert VISIT.gates[stop].ways == {}
    for gate_id, outcome in STOPS[stop]:
        assert VISIT.gates[gate_id].ways[outcome] == stop


@pytest.mark.parametrize("name", NAMES)
def test_no_path_breaks_a_need_or_finishes_altered(name: str) -> None:
    """Every state reachable: needs met, values captured before they change, all restored at the finish.

    Written apart from the authors' proofs, so that each checks the other.
    """
    procedure = SHIPPED[name]
    start: tuple[str, frozenset[str], frozenset[str]] = (procedure.first, frozenset(), frozenset())
    seen, queue, reached = {start}, deque([start]), set()
    while queue:
        gate_id, altered, captured = queue.popleft()
        reached.add(gate_id)
        if gate_id in ENDS:
            assert gate_id == STOPPED or not altered
            continue
        placed = procedure.gates[gate_id]
        gate = placed.gate
        for thing, state in gate.needs.items():
            assert (state == procedure.things[thing].altered) == (thing in altered), (gate_id, thing)
        for outcome, to in placed.ways.items():
            after, found = set(altered), set(captured)
            if outcome == DONE and isinstance(gate, ConfirmGate):
                for thing in gate.alters:
                    assert procedure.things[thing].value is None or thing in captured, (gate_id, thing)
                assert set(gate.restores) <= altered, gate_id
                after = (after - set(gate.restores)) | set(gate.alters)
            if isinstance(gate, RestoreGate):
                after -= set(gate.things)
            if outcome == DONE and isinstance(gate, ReadingsGate) and gate.captures:
                assert gate.captures not in altered
                found.add(gate.captures)
            state_after = (to, frozenset(after), frozenset(found))
            if state_after not in seen:
                seen.add(state_after)
                queue.append(state_after)
    assert reached >= set(procedure.gates)
    assert FINISHED in reached


@pytest.mark.parametrize("name", NAMES)
def test_every_loop_is_bounded(name: str) -> None:
    """Without the gates that have a bound no way leads in a circle."""
    procedure = SHIPPED[name]
    free = {gate_id: set(p.ways.values()) for gate_id, p in procedure.gates.items() if p.gate.at_most is None}
    while True:
        leaves = {gate_id for gate_id, to in free.items() if not to & set(free)}
        if not leaves:
            break
        free = {gate_id: to for gate_id, to in free.items() if gate_id not in leaves}
    assert free == {}


def test_no_screw_before_the_as_found_sets_and_the_supply() -> None:
    """Every way to a screw passes the supply verdict and the as-found gates of both rates."""
    for screw in ("maximum-turn", "minimum-turn"):
        for before in ("supply-verdict", "found-maximum", "found-minimum", "supply-before-screws"):
            seen, queue = {VISIT.first}, deque([VISIT.first])
            while queue:
                for to in VISIT.gates[queue.popleft()].ways.values():
                    if to not in seen and to != before and to not in ENDS:
                        seen.add(to)
                        queue.append(to)
            assert screw not in seen, (screw, before)


def test_in_band_as_found_turns_no_screw() -> None:
    """Within, and too close to call, never lead from the as-found verdicts to a screw."""
    for outcome in ("within", "too-close"):
        at = "found-maximum-verdict"
        while isinstance(VISIT.gates[at].gate, VerdictGate):
            at = VISIT.gates[at].ways[outcome]
        assert at == "middle-rate"


def test_a_turned_screw_is_followed_by_two_passes_and_the_cover() -> None:
    """From either screw no way leads to the close-up but through both passes, cover and grommet back first."""
    for screw, close in (("maximum-turn", "maximum-close"), ("minimum-turn", "minimum-close")):
        assert VISIT.gates[screw].ways[DONE] == close
        for before in ("second-maximum", "second-minimum", "maximum-agrees", "minimum-agrees"):
            seen, queue = {close}, deque([close])
            while queue:
                for outcome, to in VISIT.gates[queue.popleft()].ways.items():
                    if outcome != "no-limit" and to not in seen and to != before and to not in ENDS:
                        seen.add(to)
                        queue.append(to)
            assert "hold-off" not in seen, (screw, before)


def test_flue_readings_are_taken_with_the_cabinet_closed_and_the_rate_held() -> None:
    """CO2 never stands without O2 and CO, nor a set without its settle rule, cover, probe and hold."""
    for placed in VISIT.gates.values():
        gate = placed.gate
        if not isinstance(gate, ReadingsGate) or "co2" not in {ask.quantity for ask in gate.ask}:
            continue
        assert [ask.quantity for ask in gate.ask] == ["co2", "o2", "co"]
        assert gate.settle is not None
        assert gate.settle.wait_seconds >= 90  # the shortest wait that is ever right; makers ask 180 to 300 s
        needed = {"cover": "fitted", "grommet": "fitted", "probe": "inserted", "rate-hold": "held"}
        assert needed.items() <= dict(gate.needs).items()
        assert gate.firing


def test_the_burner_is_watched_wherever_it_may_fire() -> None:
    """From the call for heat on every gate is a firing gate, until the burner is at rest or the cycle was seen."""
    rests = {"burner-at-rest": "lockup-pressure", "normal-cycle": "condensate-seen"}
    for start in ("heat-call", "heat-call-again"):
        seen, queue = {start}, deque([start])
        while queue:
            gate_id = queue.popleft()
            assert VISIT.gates[gate_id].gate.firing, gate_id
            for to in VISIT.gates[gate_id].ways.values():
                if to in seen or to in ENDS or to == rests.get(gate_id):
                    continue
                if not isinstance(VISIT.gates[to].gate, StopGate):
                    seen.add(to)
                    queue.append(to)


@pytest.mark.parametrize("name", NAMES)
def test_prompts_are_short_and_plain(name: str) -> None:
    """Ten words at most, no politeness, no praise, never "safe", and no phrase that would stop the visit."""
    for gate_id in SHIPPED[name].gates:
        for text in said_at(SHIPPED[name], gate_id):
            words = spoken(text)
            shown = re.sub(r"\bc o two\b|\bo two\b|\bc o\b", "gas", words)  # one name to the ear
            assert len(shown.split()) <= 10, (gate_id, text)
            assert english().hazard_of(words) is None, (gate_id, text)
            for banned in ("please", "thank", "well done", "good", "great", "safe", "sorry"):
                assert banned not in words, (gate_id, text)


@pytest.mark.parametrize("name", NAMES)
def test_cautions_are_short_and_plain(name: str) -> None:
    """What is spoken before the first gate follows the same rules."""
    for text in SHIPPED[name].file.cautions:
        assert len(spoken(text).split()) <= 10
        assert english().hazard_of(spoken(text)) is None
        assert "safe" not in text.lower()


@pytest.mark.parametrize("name", NAMES)
def test_every_gate_says_where_it_comes_from(name: str) -> None:
    """A published source or 'common practice, no source'; settle rules name their own."""
    for placed in SHIPPED[name].gates.values():
        gate = placed.gate
        written = not (isinstance(gate, RestoreGate | FinishGate) and placed.place.line == 1)
        if written:
            assert gate.source, placed.id
        if isinstance(gate, ReadingsGate) and gate.settle is not None:
            assert gate.settle.source


@pytest.mark.parametrize("name", NAMES)
def test_every_word_that_is_listened_for_can_be_said(name: str) -> None:
    """Each word of each phrase is in the pronouncing dictionary or spelled out."""
    procedure = SHIPPED[name]
    words: set[str] = set()
    for placed in procedure.gates.values():
        gate = placed.gate
        if isinstance(gate, ConfirmGate):
            words |= {word for phrase in gate.done for word in phrase.split()}
        if isinstance(gate, ChoiceGate):
            words |= {
                word for answer in gate.answers.values() for phrase in answer.heard for word in phrase.split()
            }
    for thing in procedure.things.values():
        words |= {*thing.altered.split(), *thing.restored.split()}
    assert Pronunciations(procedure.words).unknown(words) == ()


@pytest.mark.parametrize("name", NAMES)
def test_every_quantity_is_in_the_catalogue(name: str) -> None:
    """What is asked for, timed or captured has a name, a unit and a range."""
    known = english().quantities
    for placed in SHIPPED[name].gates.values():
        gate = placed.gate
        asks = (
            gate.ask if isinstance(gate, ReadingsGate) else (gate.volume,) if isinstance(gate, TimedGate) else ()
        )
        assert {ask.quantity for ask in asks} <= set(known)
    assert {thing.value for thing in SHIPPED[name].things.values() if thing.value} <= set(known)


@pytest.mark.parametrize("fuel", ["natural gas", "propane"])
def test_the_invented_sheets_fill_every_prompt_for_both_gases(fuel: str) -> None:
    """Bands come from the sheet; the procedure is the same for natural gas and propane."""
    sheets, _ = load_sheets(ROOT / "handsfree" / "demo" / "jobsheet.yaml")
    job = sheets.job.model_copy(update={"fuel": fuel})
    for placed in VISIT.gates.values():
        for text in said_at(VISIT, placed.id):
            assert "{" not in text.format(job=job, appliance=sheets.appliance)
    band = sheets.appliance.fuels[fuel].co2["maximum"]
    # Common practice, no source: 8.9 to 9.9 % for natural gas, 9.9 to 10.9 % for propane.
    assert (str(band.low), str(band.high)) == {"natural gas": ("8.9", "9.9"), "propane": ("9.9", "10.9")}[fuel]
    rule = sheets.appliance.fuels[fuel].between_rates
    assert rule is not None
    assert (str(rule.low), str(rule.high)) == ("-0.2", "0.2")
