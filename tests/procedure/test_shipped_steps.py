"""The shipped commissioning: every step of the trade is a gate, and what must not go on stops."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.gates.adjust import AdjustGate
from handsfree.gates.choice import ChoiceGate
from handsfree.gates.confirm import ConfirmGate
from handsfree.gates.readings import ReadingsGate
from handsfree.gates.stop import StopGate
from handsfree.gates.timed import TimedGate
from handsfree.procedure.procedure import load_procedure

VISIT = load_procedure(Path(__file__).parents[2] / "procedures" / "two-rate-combustion.yaml")

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
    "ambient CO on entry": (
        "ambient-entry",
        "ambient-entry-verdict",
        "entry-source",
        "ambient-again",
        "ambient-again-verdict",
        "entry-monitor",
    ),
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
        for gate in (
            *("steady", "others-off", "time-the-meter", "others-on", "input-verdict", "by-the-manual"),
            *("others-off-again", "time-again", "others-on-again", "again-verdict"),
        )
    ),
    "air-duct integrity": (
        "air-duct-port",
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
    "stop-ambient": (
        ("ambient-again", "exhausted"),
        ("ambient-again-verdict", "missing"),
        ("ambient-exit-verdict", "find-source"),
    ),
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
    "stop-input": (("input-final/others-off-again", "exhausted"), ("input-found/again-verdict", "missing")),
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
        and "not done" not in placed.transitions
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
        "air-flue-plug",
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
        "hold-released",
    }


@pytest.mark.parametrize("stop", STOPS)
def test_what_must_not_go_on_ends_at_a_stop(stop: str) -> None:
    """Each condition leads to its stop, and a stop leads nowhere."""
    assert isinstance(VISIT.gates[stop].gate, StopGate)
    assert VISIT.gates[stop].transitions == {}
    for gate_id, outcome in STOPS[stop]:
        assert VISIT.gates[gate_id].transitions[outcome] == stop
