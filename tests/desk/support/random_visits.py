"""Random visits of the shipped procedures, written as real records."""

from __future__ import annotations

import random
from datetime import date
from decimal import Decimal
from functools import cache
from pathlib import Path

from handsfree.demo.play import DemoClock, scenario_files
from handsfree.events import inputs as inp
from handsfree.events.record import Event, to_record
from handsfree.ledger import Ledger
from handsfree.procedure.procedure import load_procedure
from handsfree.session.exploring import Coverage
from handsfree.session.exploring import _Explorer as Usual
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
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


class Crying(Usual):
    """One who is heard to call a stop now and then, and mostly goes on: put right, misheard, or no call at all."""

    def __init__(self, plan: Plan, day: date, seed: int, coverage: Coverage) -> None:
        super().__init__(plan, day, seed, coverage)
        self._cries = random.Random(seed)

    def _say(self, visit: Rehearsal, words: str) -> None:
        if visit.state.status != "running" or self._cries.random() > ONE_IN:
            return super()._say(visit, words)
        cry = self._cries.choice(["stop work", "stop", "water is leaking", "i feel ill"]).split()
        now = visit.state.now + 1200
        heard = tuple(
            inp.HeardWord(word=one, start_ms=200 * at, end_ms=200 * at + 180, confidence=Decimal("1.000"))
            for at, one in enumerate(cry)
        )
        alternatives = (inp.Alternative(words=heard, score=Decimal("0.000")),)
        visit.take(inp.Heard(at=now, alternatives=alternatives, grammar="test", started=now - 1000, ended=now))
        return None

    def after_a_stop(self, ways: tuple[str, ...]) -> str:
        on = [way for way in ways if way != "close"] if self._cries.random() < GOES_ON else []
        return self._plan.catalogue.answers[self._cries.choice(on) if on else "close"][0]


ONE_IN, GOES_ON = 0.12, 0.75
"""How often a stop is called in place of an answer, and how often the work goes on after one."""


def random_visit(plan: Plan, seed: int, explorers: type[Usual] = Usual) -> tuple[Event, ...]:
    """Return the events of one random visit, inputs included; it tries nothing aside."""
    coverage = Coverage(plan.procedure)
    explorer = explorers(plan, DAY, seed, coverage)
    explorer._try_other_transitions = explorer._try_other_values = lambda: None  # type: ignore[method-assign]
    explorer.visit()
    assert not coverage.faults, coverage.faults
    return tuple(explorer._visit.events)


def record_random(
    folder: Path, name: str, seed: int, most: int | None = None, explorers: type[Usual] = Usual
) -> Path:
    """Record a random visit in a new folder; with `most`, cut off after so many events."""
    plan, sources = plan_and_sources(name)
    first, *rest = random_visit(plan, seed, explorers)
    first = first.model_copy(update={"sheets_sha256": digests(sources, plan)})
    if most is not None:
        rest = [event for event in rest[:most] if event.kind != "visit-closed"]
    ledger = Ledger.create(folder, to_record(first)[1], sources=sources, clock=DemoClock())
    for start in range(0, len(rest), 400):
        ledger.append([to_record(event) for event in rest[start : start + 400]])
    ledger.release()
    return folder
