"""Random visits of the shipped procedures, written as real records."""

from __future__ import annotations

from datetime import date
from functools import cache
from pathlib import Path

from handsfree.demo.play import DemoClock, scenario_files
from handsfree.events.record import Event, to_record
from handsfree.ledger import Ledger
from handsfree.procedure.procedure import load_procedure
from handsfree.session.exploring import Coverage, _Explorer
from handsfree.session.plan import Plan
from handsfree.shipped import procedure_path
from handsfree.visit.folder import digests, load_plan

PROCEDURES = (
    "two-rate-combustion", "gas-rate-check", "safe-isolation", "extract-ventilation", "extract-terminal",
    "split-cooling-charge",
)  # fmt: skip
DAY = date(2026, 11, 25)


@cache
def plan_and_sources(name: str) -> tuple[Plan, dict[str, bytes]]:
    """Return the plan of a shipped procedure on its trade's invented sheets."""
    path = procedure_path(name)
    return load_plan(path, load_procedure(path).trade.example or scenario_files()[0])


def random_visit(plan: Plan, seed: int) -> tuple[Event, ...]:
    """Return the events of one random visit, inputs included; it tries nothing aside."""
    coverage = Coverage(plan.procedure)
    explorer = _Explorer(plan, DAY, seed, coverage)
    explorer._try_other_transitions = explorer._try_other_values = lambda: None  # type: ignore[method-assign]
    explorer.visit()
    assert not coverage.faults, coverage.faults
    return tuple(explorer._visit.events)


def record_random(folder: Path, name: str, seed: int, most: int | None = None) -> Path:
    """Record a random visit in a new folder; with `most`, cut off after so many events."""
    plan, sources = plan_and_sources(name)
    first, *rest = random_visit(plan, seed)
    first = first.model_copy(update={"sheets_sha256": digests(sources, plan)})
    if most is not None:
        rest = [event for event in rest[:most] if event.kind != "visit-closed"]
    ledger = Ledger.create(folder, to_record(first)[1], sources=sources, clock=DemoClock())
    for start in range(0, len(rest), 400):
        ledger.append([to_record(event) for event in rest[start : start + 400]])
    ledger.release()
    return folder
