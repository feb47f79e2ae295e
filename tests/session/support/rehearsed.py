"""A whole visit of the invented technician, kept at every question, so that a test can begin anywhere.

The state of a visit never changes once made: a test goes on from a kept one without touching it.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.demo.boiler import InventedBoiler
from handsfree.demo.technician import InventedTechnician
from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.record import Event
from handsfree.events.state import State
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.sheets import load_sheets
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.combustion.sheets import CombustionSheets, combustion
from handsfree.trades.combustion.stops import fuel_of
from handsfree.trades.sheets import Sheets

ROOT = Path(__file__).parents[3]
PROCEDURE = ROOT / "procedures" / "two-rate-combustion.yaml"
JOB_SHEET = ROOT / "handsfree" / "demo" / "jobsheet.yaml"
DAY = date(2026, 11, 25)
ROW = "nine point three four point four one eight maximum"


@cache
def sheets() -> CombustionSheets:
    """Return the demo's invented sheets."""
    return combustion(load_sheets(JOB_SHEET)[0])


def with_fuel(**other: Any) -> Sheets:
    """Return the sheets with other data for the fuel."""
    own = sheets()
    fuels = {**own.appliance.fuels, own.job.fuel: own.fuel.model_copy(update=other)}
    return CombustionSheets(job=own.job, appliance=own.appliance.model_copy(update={"fuels": fuels}))


def with_appliance(**other: Any) -> Sheets:
    """Return the sheets with other data for the appliance."""
    return CombustionSheets(job=sheets().job, appliance=sheets().appliance.model_copy(update=other))


def with_job(**other: Any) -> Sheets:
    """Return the sheets with other facts of the job."""
    return CombustionSheets(job=sheets().job.model_copy(update=other), appliance=sheets().appliance)


@cache
def shipped() -> Plan:
    """Return the plan of the shipped procedure with the demo's sheets."""
    return plan_with(sheets())


def plan_with(other: Sheets) -> Plan:
    """Return the plan of the shipped procedure with other sheets."""
    return Plan(load_procedure(PROCEDURE), other).check()


def play(
    visit: Rehearsal,
    technician: InventedTechnician,
    *,
    until: str = "",
    most: int = 3000,
    say: Callable[[str], Sequence[Event]] | None = None,
) -> None:
    """Let the invented technician answer until the visit is over, stopped, or asks at a gate; `say` says how."""
    say = say or visit.say
    for _ in range(most):
        if visit.over or visit.state.status == "stopped" or visit.state.gate == until:
            return
        if not visit.asking:
            technician.notice(visit.wait(), visit.state.now / 1000)
            continue
        seconds = technician.seconds_before(visit.state)
        if seconds:
            visit.wait(seconds)
        technician.notice(say(technician.answer(visit.state)), visit.state.now / 1000)
    raise AssertionError(f"no end at {visit.state.gate}")


def technician(plan: Plan) -> InventedTechnician:
    """Return the demo's invented technician with its boiler."""
    return InventedTechnician(plan, InventedBoiler(fuel_of(plan.sheets)))


def twin(visit: Rehearsal) -> Rehearsal:
    """Return a visit that goes on from where another is."""
    other = copy.copy(visit)
    other.events = list(visit.events)
    return other


@cache
def places() -> dict[tuple[str, str], Rehearsal]:
    """Return the shipped visit as the technician's answer is first expected, by gate and kind of question."""
    visit, person = Rehearsal(shipped(), DAY), technician(shipped())
    kept: dict[tuple[str, str], Rehearsal] = {}
    while not visit.over:
        kept.setdefault((visit.state.gate, asked(visit.state)), twin(visit))
        if not visit.asking:
            person.notice(visit.wait(), visit.state.now / 1000)
            continue
        seconds = person.seconds_before(visit.state)
        if seconds:
            visit.wait(seconds)
        person.notice(visit.say(person.answer(visit.state)), visit.state.now / 1000)
    kept["", "end"] = visit
    return kept


def asked(state: State) -> str:
    """Return the kind of the question at hand; "gate" for the one that a gate asks first, whatever its kind."""
    return "gate" if state.question.kind in {"to-do", "choice", "values"} else state.question.kind


def at(gate: str, kind: str = "gate") -> Rehearsal:
    """Return a visit that has just asked at a gate."""
    return twin(places()[gate, kind])


def utterance(
    visit: Rehearsal,
    *alternatives: tuple[str, str] | str,
    confidence: str = "1.000",
    after_ms: int = 1200,
    **other: Any,
) -> inp.Heard:
    """Return an utterance: alternatives as texts, or texts with scores, best first."""
    now = visit.state.now + after_ms
    pairs = [(one, "0.000") if isinstance(one, str) else one for one in alternatives]
    return inp.Heard(
        at=now,
        alternatives=tuple(
            inp.Alternative(
                words=tuple(
                    inp.HeardWord(
                        word=word, start_ms=200 * number, end_ms=200 * number + 180, confidence=Decimal(confidence)
                    )
                    for number, word in enumerate(text.split())
                ),
                score=Decimal(score),
            )
            for text, score in pairs
        ),
        grammar="test",
        started=now - 1000,
        ended=now,
        **other,
    )


def hear(visit: Rehearsal, *alternatives: tuple[str, str] | str, **other: Any) -> tuple[ev.Decision, ...]:
    """Let the visit hear an utterance; return what was decided."""
    return visit.take(utterance(visit, *alternatives, **other))


def first_row(words: str = ROW) -> Rehearsal:
    """Return the visit after the first row of values was heard."""
    visit = at("found-maximum")
    hear(visit, words)
    return visit


def of_kind(events: Iterable[Event], kind: type[Any]) -> list[Any]:
    """Return the events of one kind."""
    return [event for event in events if isinstance(event, kind)]


def spoken(events: Iterable[Event]) -> list[str]:
    """Return what the tool says."""
    return [event.text for event in of_kind(events, (ev.Said, ev.Asked)) if event.text]  # type: ignore[arg-type]


def say(visit: Rehearsal, *answers: str) -> tuple[ev.Decision, ...]:
    """Type answers one after the other; return what the last led to."""
    decided: tuple[ev.Decision, ...] = ()
    for answer in answers:
        decided = visit.say(answer)
    return decided
