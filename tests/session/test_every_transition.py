"""Every transition between the gates of the shipped visit is walked, in words, through the session itself.

Whole visits are rehearsed from the table below; from each place they reach, every other answer is then tried
once (a visit's state never changes once made, so a place can be left in many ways). What is called is invented.
"""

from __future__ import annotations

import copy
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from rehearsed import asked

from handsfree.events import decisions as ev
from handsfree.events.record import Event
from handsfree.gates.adjust import AdjustGate
from handsfree.gates.choice import ChoiceGate
from handsfree.gates.confirm import ConfirmGate
from handsfree.gates.outcomes import DONE, DROPPED_BACK, NOT_DONE, UNSETTLED
from handsfree.gates.readings import ReadingsGate
from handsfree.gates.timed import TimedGate
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.sheets import load_sheets
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.combustion.sheets import CombustionSheets
from handsfree.trades.sheets import Sheets

pytestmark = pytest.mark.slow("explorers walk each transition of a shipped procedure")

ROOT = Path(__file__).parents[2]
VISIT = load_procedure(ROOT / "procedures" / "two-rate-combustion.yaml")
SHEETS, _ = load_sheets(ROOT / "handsfree" / "demo" / "jobsheet.yaml")
TRANSITIONS = {(gate_id, outcome) for gate_id, placed in VISIT.gates.items() for outcome in placed.transitions}

Called = Mapping[str, tuple[str, ...]]
Answers = Mapping[str, tuple[str, ...]]

USUAL: Called = {
    "co2": ("9.4",), "co": ("20",), "ambient_co": ("2",), "standing_pressure": ("21.0",),
    "working_pressure": ("20.0",), "water_pressure": ("1.5",), "meter_pressure": ("20.4",),
    "pressure_drop": ("0.6",), "lockup_pressure": ("21.0",), "reset_slope": ("1.5",), "set_point": ("60",),
    "flue_temperature": ("58",), "air_temperature": ("18",), "flow_temperature": ("60",),
    "return_temperature": ("42",), "fan_speed": ("6200",), "flame_current": ("8.5",),
    "offset_pressure": ("-0.05",), "vent_pressure": ("0.12",), "air_duct_o2": ("20.9",),
    "air_duct_co2": ("0.05",), "gas_volume_metric": ("0.048",),
}  # fmt: skip
DRIFT = tuple(f"{8.0 + 0.2 * number:.1f}" for number in range(9))
VOLUME_LOW: Called = {"gas_volume_metric": ("0.030",)}
STEPS = " ".join(f"{7.8 + 0.1 * number:.1f}" for number in range(12))
DIGITS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
MARK_SECONDS = 77

# Transitions that the sheets or an earlier gate rule out in a visit; they stand in the procedure because every
# outcome of a calculation must lead somewhere.
RULED_OUT = {
    ("air-duct-verdict", "outside"): "the reading itself has stopped the visit",
    ("supply-before-screws", "missing"): "a supply that was not read has stopped the visit before",
    ("supply-before-screws", "outside"): "a supply outside the plate has stopped the visit before",
    ("found-rule", "missing"): "both sets were judged just before",
    ("first-maximum-verdict", "no-limit"): "without a band at maximum no screw is reached",
    ("first-rule", "missing"): "both sets were judged just before",
    ("input-found/again-verdict", "no-limit"): "the first timing has asked for the input before",
    ("input-final/again-verdict", "no-limit"): "the first timing has asked for the input before",
    ("second-rule", "missing"): "both sets were judged just before",
    ("second-rule", "no-limit"): "the first pass has asked for the rule before",
    ("second-maximum-verdict", "no-limit"): "the first pass has asked for the band before",
    ("second-minimum-verdict", "no-limit"): "the first pass has asked for the band before",
    ("minimum-again-verdict", "no-limit"): "the first pass has asked for the band before",
    ("maximum-agrees", "missing"): "both passes were judged before",
    ("minimum-agrees", "missing"): "both passes were judged before",
}


@dataclass(frozen=True)
class Case:
    """A whole visit: which answers differ from the usual ones, entry by entry, the last repeated."""

    name: str
    answers: Answers = field(default_factory=dict)
    called: Mapping[str, Called] = field(default_factory=dict)
    """Where values are kept, or the gate -> quantity -> the values, one for each time the gate is entered."""
    sheets: Sheets = SHEETS


def lacking(**missing: Any) -> Sheets:
    fuels = {**SHEETS.appliance.fuels, SHEETS.job.fuel: SHEETS.fuel.model_copy(update=missing)}
    return CombustionSheets(job=SHEETS.job, appliance=SHEETS.appliance.model_copy(update={"fuels": fuels}))


def job(**other: Any) -> Sheets:
    return CombustionSheets(job=SHEETS.job.model_copy(update=other), appliance=SHEETS.appliance)


def co2(**kept_at: str) -> dict[str, Called]:
    """Return CO2 by where it is kept: found_maximum="8.2 9.4" is 8.2 at the first entry, then 9.4."""
    return {name.replace("_", "-"): {"co2": tuple(values.split())} for name, values in kept_at.items()}


def co(kept_at: str) -> dict[str, Called]:
    """Return CO2 out of its band as found, and CO in the guard band of the maker's limit, once, at one place."""
    return {"found-maximum": {"co2": ("8.2",)}, kept_at: {"co": ("145", "20")}}


OUT = co2(found_maximum="8.2")
ONE_BAND = lacking(co2={"maximum": SHEETS.fuel.co2["maximum"]})
NO_BAND = lacking(co2={})
OLD = SHEETS.job.instrument.model_copy(update={"calibrated_until": date(2026, 1, 1)})

CASES = (
    Case("nothing to adjust"),
    Case(
        "propane",
        called=co2(found_maximum="10.4", found_minimum="10.4", final_maximum="10.4", middle="10.4"),
        sheets=job(fuel="propane"),
    ),
    Case("out as found, in when measured again", called=OUT),
    Case("maximum turned", called=co2(found_maximum="8.2", first_maximum="8.2 8.8 9.4")),
    Case(
        "maximum turned behind the cover",
        {"maximum-screw": ("behind",)},
        co2(found_maximum="8.2", first_maximum="8.2 9.4"),
    ),
    Case("minimum turned", called=co2(found_minimum="8.2", first_minimum="8.2 8.5 8.8 9.4")),
    Case("minimum too close", called=co2(found_minimum="8.8", first_minimum="8.8 9.4")),
    Case("maximum too close", called=co2(found_maximum="8.8")),
    Case(
        "minimum turned behind the cover",
        {"minimum-screw": ("behind",)},
        co2(found_minimum="8.2", first_minimum="8.2 9.4"),
    ),
    Case("maximum turned in vain", called=co2(found_maximum="8.2", first_maximum="8.2")),
    Case("minimum turned in vain", called=co2(found_minimum="8.2", first_minimum="8.2")),
    Case("maximum turned without end", called=co2(found_maximum=STEPS, first_maximum=STEPS)),
    Case("minimum turned without end", called=co2(found_minimum=STEPS, first_minimum=STEPS)),
    Case("rule broken as found", called=co2(found_maximum="9.1", found_minimum="9.6", first_minimum="9.9 9.4")),
    Case("rule too close", called=co2(found_maximum="9.4", found_minimum="9.7", first_minimum="9.7 9.4")),
    Case("second rule broken", called=co2(found_maximum="8.2", second_minimum="9.9 9.4")),
    Case("second rule too close", called=co2(found_maximum="8.2", second_minimum="9.7 9.4")),
    Case(
        "maximum does not agree",
        called=co2(found_maximum="8.2", second_maximum="9.1 9.4", second_minimum="9.2 9.4"),
    ),
    Case(
        "minimum does not agree",
        called=co2(found_maximum="8.2", first_minimum="9.5", second_maximum="9.3 9.4", second_minimum="9.2 9.4"),
    ),
    Case("second maximum out", called=co2(found_maximum="8.2", second_maximum="8.2 8.8 9.4")),
    Case("second minimum out", called=co2(found_maximum="8.2", second_minimum="8.2 8.8 9.4")),
    Case("final out", called=co2(final_maximum="8.2 8.8 9.4")),
    *(
        Case(f"CO high at {at}", called=co(at))
        for at in ("found-maximum", "first-maximum", "first-minimum", "second-maximum", "second-minimum")
    ),
    Case("CO high at minimum as found", called={"found-minimum": {"co": ("145",)}}),
    Case("CO high at the end", called={"final-maximum": {"co": ("145", "20")}}),
    Case(
        "CO high at minimum after a turn",
        called={"found-minimum": {"co2": ("8.2",)}, "first-minimum": {"co2": ("8.2", "9.4"), "co": ("20", "145")}},
    ),
    *(
        Case(f"dashes at {at}", called=co2(found_maximum="8.2") | {at: {"co2": ("dashes", "9.4")}})
        for at in ("first-maximum", "first-minimum", "second-maximum", "second-minimum", "final-maximum")
    ),
    Case("dashes at minimum after a turn", called=co2(found_minimum="8.2", first_minimum="8.2 dashes 9.4")),
    Case("maximum not read as found", {"found-maximum": (NOT_DONE,)}),
    Case("minimum not read as found", {"found-minimum": (NOT_DONE,)}, co2(found_maximum="9.4")),
    Case("supply outside", called={"standing": {"standing_pressure": ("8.0",)}}),
    Case("supply not read", {"standing-pressure": (NOT_DONE,)}, OUT),
    Case("no limit for the supply", {}, OUT, lacking(standing_pressure=None)),
    Case("no band", {}, {}, NO_BAND),
    Case("a band for one rate alone", {}, {}, ONE_BAND),
    Case("a band for one rate alone, out", {}, OUT, ONE_BAND),
    Case("no rule between the rates", {}, {}, lacking(between_rates=None)),
    Case("no rule between the rates, out", {}, OUT, lacking(between_rates=None)),
    Case("no rated input", {}, {}, lacking(input_kilowatt={})),
    Case("calibration run out", sheets=job(instrument=OLD)),
    Case("CO in the room", called={"ambient-entry": {"ambient_co": ("12", "2")}}),
    Case("CO stays in the room", called={"ambient-entry": {"ambient_co": ("12",)}}),
    Case(
        "room not read again",
        called={"ambient-entry": {"ambient_co": ("12",)}, "ambient-again": {"ambient_co": ("dashes",)}},
    ),
    Case("CO in the room afterwards", called={"ambient-exit": {"ambient_co": ("12",)}}),
    Case("room not read", {"ambient-entry": (NOT_DONE,), "ambient-exit": (NOT_DONE,)}),
    Case("flue gas in the air duct", called={"air-duct": {"air_duct_o2": ("20.1",)}}),
    Case("no monoxide alarm", {"monoxide-alarm": ("missing",)}),
    Case("air duct not read", {"air-duct": (NOT_DONE,)}),
    *(Case(f"{at} off the plate", called={at: VOLUME_LOW}) for at in ("input-found", "input-final")),
    Case(
        "input too close", called={at: {"gas_volume_metric": ("0.046",)} for at in ("input-found", "input-final")}
    ),
    *(
        Case(
            f"{at} off the plate, then not",
            called={f"{at}/time-the-meter": VOLUME_LOW, f"{at}/time-again": {"gas_volume_metric": (second,)}},
        )
        for at in ("input-found", "input-final")
        for second in ("0.048", "0.046")
    ),
    *(
        Case(f"{at} not timed again", {f"{at}/time-again": (NOT_DONE,)}, {at: VOLUME_LOW})
        for at in ("input-found", "input-final")
    ),
    Case("meter not timed", {f"{at}/time-the-meter": (NOT_DONE,) for at in ("input-found", "input-final")}),
    *(
        Case(f"{gate_id} without end", {gate_id: (DROPPED_BACK,)}, OUT)
        for gate_id in ("working-pressure", "found-maximum", "found-minimum", "first-maximum", "first-minimum")
    ),
    *(
        Case(f"{gate_id} without end", {gate_id: (DROPPED_BACK,)}, OUT)
        for gate_id in ("second-maximum", "second-minimum", "final-maximum")
    ),
    Case(
        "minimum after a turn without end",
        {"minimum-again": (DROPPED_BACK,)},
        co2(found_minimum="8.2", first_minimum="8.2"),
    ),
)


def words(value: str) -> str:
    names = {"-": "minus", ".": "point"} | {str(digit): word for digit, word in enumerate(DIGITS)}
    return value if value == "dashes" else " ".join(names[mark] for mark in value)


@dataclass(frozen=True)
class Place:
    """A state of a visit as an answer is expected: its number, the visit, and what happened on the way there."""

    number: int
    visit: Rehearsal
    happened: tuple[ev.Decision, ...]


class Tree:
    """All places reached so far; whole visits share their beginnings, each answer is worked out once."""

    def __init__(self) -> None:
        self._plans: dict[int, Plan] = {}
        self._known: dict[tuple[int, str], Place] = {}

    def root(self, sheets: Sheets) -> Place:
        """Return the first place of a visit on these sheets."""
        plan = self._plans.setdefault(id(sheets), Plan(VISIT, sheets).check())
        return self._reached((-id(sheets), ""), lambda: Rehearsal(plan, date(2026, 11, 25)))

    def after(self, place: Place, answer: str) -> Place:
        """Return the place that an answer leads to."""

        def answered() -> Rehearsal:
            visit = copy.copy(place.visit)
            visit.events = []
            if visit.state.question.kind == "mark":
                visit.wait(MARK_SECONDS)
            visit.say(answer)
            return visit

        return self._reached((place.number, answer), answered)

    def _reached(self, key: tuple[int, str], make: Callable[[], Rehearsal]) -> Place:
        if key not in self._known:
            visit = make()
            visit.until_asking()
            self._known[key] = Place(len(self._known), visit, tuple(visit.events))
        return self._known[key]


TREE = Tree()


class Walk:
    """One rehearsed visit answered by a case; `places` are those in which each gate first asked."""

    def __init__(self, case: Case, place: Place | None = None) -> None:
        self.case = case
        self.place = place or TREE.root(case.sheets)
        self.places: dict[str, Place] = {}
        self.faults: list[str] = []
        self.transitions = walked(self.place.happened)
        self.direction = "clockwise"

    @property
    def visit(self) -> Rehearsal:
        """The visit as it stands."""
        return self.place.visit

    def run(self, most: int = 3000) -> None:
        """Answer until the visit is over or stopped."""
        for _ in range(most):
            if self.visit.over or self.visit.state.status == "stopped":
                return
            gate_id = self.visit.state.gate
            if asked(self.visit.state) in {"gate", "turn"} and gate_id not in self.places:
                self.places[gate_id] = self.place
            self.answer(self._pick(self.case.answers.get(gate_id, (DONE,))))
        raise AssertionError(f"{self.case.name}: no end at {self.visit.state.gate}")

    def leave(self, gate_id: str, outcome: str) -> Counter[tuple[str, str]]:
        """Leave a place reached before by an outcome; return the transitions that opened."""
        other = Walk(self.case, self.places[gate_id])
        values = iter(DRIFT)
        while not other.visit.over and other.visit.state.status == "running" and other.visit.state.gate == gate_id:
            drift = next(values, DRIFT[-1]) if outcome == UNSETTLED and asked(other.visit.state) == "gate" else ""
            other.answer(outcome, drift)
        self.faults += other.faults
        return other.transitions

    def answer(self, outcome: str, drift: str = "") -> None:
        """Give one answer: towards the outcome at the gate's own question, the usual one at any other."""
        gate_id, question = self.visit.state.gate, self.visit.state.question
        if question.kind == "thing-first":
            self.faults.append(f"{self.case.name}: {gate_id} was entered, {question.thing} not as it needs")
        self.place = TREE.after(self.place, self._words(gate_id, outcome, drift))
        self.transitions += walked(self.place.happened)
        for event in self.place.happened:
            if isinstance(event, ev.NotUnderstood):
                self.faults.append(f"{gate_id}: not understood")
            if isinstance(event, ev.Advised):
                self.direction = event.direction

    def _pick(self, options: tuple[str, ...]) -> str:
        return options[min(self.visit.state.entered[self.visit.state.gate], len(options)) - 1]

    def _words(self, gate_id: str, outcome: str, drift: str) -> str:
        gate, question = VISIT.gates[gate_id].gate, self.visit.state.question
        thing = VISIT.things.get(getattr(question, "thing", ""))
        kind = asked(self.visit.state)
        if kind in {"gate", "turn"} and outcome in {NOT_DONE, DROPPED_BACK}:
            return "not done because it is so" if outcome == NOT_DONE else "dropped back"
        match gate, kind:
            case ConfirmGate(), "gate":
                return gate.done[0]
            case ChoiceGate(), "gate":
                return gate.answers.get(outcome, next(iter(gate.answers.values()))).heard[0]
            case AdjustGate(), "turn":
                return f"{self.direction.replace('-', ' ')} one eighth"
            case ReadingsGate() | TimedGate(), "gate" | "once-more" | "digits" | "which-value" | "tied-values":
                return self._values(gate, drift)
            case _, "rate":
                return str(getattr(gate, "rate", None))
            case _, "put-back" if thing is not None:
                return words(USUAL[thing.value][0]) if thing.value else thing.restored
            case _, "mark":
                return "mark"
            case _:
                return "confirmed"

    def _values(self, gate: ReadingsGate | TimedGate, drift: str) -> str:
        question = self.visit.state.question
        called = dict(USUAL) | dict(self.case.called.get(gate.point, {}))
        called |= dict(self.case.called.get(self.visit.state.gate, {}))
        quantities = question.called(VISIT.scope(self.visit.state.gate))
        if question.kind == "tied-values":
            quantities = question.quantities
        picked = {name: self._pick(values) for name, values in called.items()}
        if drift:
            picked["co2"] = drift
        ultimate = {"natural gas": 11.9, "propane": 13.8}[self.visit.plan.sheets.job.fuel]  # rounded
        share = 0.75 if picked["co2"] == "dashes" else float(picked["co2"]) / ultimate
        picked["o2"] = f"{20.9 * (1 - share):.1f}"
        said = [words(picked[quantity]) for quantity in quantities]
        rate = getattr(gate, "rate", None)
        return " ".join([*said, rate] if rate and question.kind == "values" else said)


def walked(events: list[Event] | tuple[ev.Decision, ...]) -> Counter[tuple[str, str]]:
    return Counter((event.gate, event.outcome) for event in events if isinstance(event, ev.GatePassed))


@pytest.fixture(scope="module")
def walks() -> list[Walk]:
    found = [Walk(case) for case in CASES]
    for walk in found:
        walk.run()
    return found


def test_every_transition_is_walked_or_ruled_out(walks: list[Walk]) -> None:
    """Whole visits and every other answer at their places open every transition but those named as ruled out."""
    seen: Counter[tuple[str, str]] = Counter()
    for walk in walks:
        seen += walk.transitions
    for gate_id, outcome in sorted(TRANSITIONS):
        if (gate_id, outcome) in seen:
            continue
        for walk in walks:
            if gate_id in walk.places:
                seen += walk.leave(gate_id, outcome)
                break
    assert TRANSITIONS - set(seen) == set(RULED_OUT)
    assert [fault for walk in walks for fault in walk.faults] == []


def test_every_visit_ends_restored_or_stopped(walks: list[Walk]) -> None:
    """An end leaves nothing altered, also of a visit left incomplete; a stopped one names what is."""
    finished = 0
    for walk in walks:
        if walk.visit.over:
            last = walk.place.happened[-1]
            assert isinstance(last, ev.VisitClosed)
            assert last.outcome == ("incomplete" if last.lacking else "finished")
            assert last.still_altered == ()
            finished += 1
        else:
            assert walk.visit.state.status == "stopped", walk.case.name
    assert finished > 20
