"""The shipped procedures along every path: needs, restores, bounds, and what comes before a screw."""

from __future__ import annotations

from collections import deque
from pathlib import Path

import pytest

from handsfree.gates.confirm import ConfirmGate
from handsfree.gates.outcomes import DONE, ENDS, FINISHED, STOPPED
from handsfree.gates.readings import ReadingsGate
from handsfree.gates.restore import RestoreGate
from handsfree.gates.stop import StopGate
from handsfree.gates.verdict import VerdictGate
from handsfree.procedure.procedure import load_procedure

ROOT = Path(__file__).parents[2]
NAMES = ("two-rate-combustion", "gas-rate-check", "safe-isolation")
SHIPPED = {name: load_procedure(ROOT / "procedures" / f"{name}.yaml") for name in NAMES}
VISIT = SHIPPED["two-rate-combustion"]


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
        for outcome, to in placed.transitions.items():
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
    free = {
        gate_id: set(p.transitions.values()) for gate_id, p in procedure.gates.items() if p.gate.at_most is None
    }
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
                for to in VISIT.gates[queue.popleft()].transitions.values():
                    if to not in seen and to != before and to not in ENDS:
                        seen.add(to)
                        queue.append(to)
            assert screw not in seen, (screw, before)


def test_in_band_as_found_turns_no_screw() -> None:
    """Within leads past every screw; out of the band, even by too little to be sure, leads to the supply first."""
    at = "found-maximum-verdict"
    while isinstance(VISIT.gates[at].gate, VerdictGate):
        assert (
            VISIT.gates[at].transitions["outside"]
            == VISIT.gates[at].transitions["too-close"]
            == "supply-before-screws"
        )
        at = VISIT.gates[at].transitions["within"]
    assert at == "middle-rate"


def test_a_turned_screw_is_followed_by_two_passes_and_the_cover() -> None:
    """From either screw no way leads to the close-up but through both passes, cover and grommet back first."""
    for screw, close in (("maximum-turn", "maximum-close"), ("minimum-turn", "minimum-close")):
        assert VISIT.gates[screw].transitions[DONE] == close
        for before in ("second-maximum", "second-minimum", "maximum-agrees", "minimum-agrees"):
            seen, queue = {close}, deque([close])
            while queue:
                for outcome, to in VISIT.gates[queue.popleft()].transitions.items():
                    if outcome != "no-limit" and to not in seen and to != before and to not in ENDS:
                        seen.add(to)
                        queue.append(to)
            assert "hold-off" not in seen, (screw, before)


def test_the_burner_is_watched_wherever_it_may_fire() -> None:
    """From the call for heat on every gate is a firing gate, until the burner is at rest or the cycle was seen."""
    rests = {"burner-at-rest": "lockup-pressure", "normal-cycle": "condensate-seen"}
    for start in ("heat-call", "heat-call-again"):
        seen, queue = {start}, deque([start])
        while queue:
            gate_id = queue.popleft()
            assert VISIT.gates[gate_id].gate.firing, gate_id
            for to in VISIT.gates[gate_id].transitions.values():
                if to in seen or to in ENDS or to == rests.get(gate_id):
                    continue
                if not isinstance(VISIT.gates[to].gate, StopGate):
                    seen.add(to)
                    queue.append(to)
