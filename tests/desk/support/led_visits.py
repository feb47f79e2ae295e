"""The shipped visits led by the invented technician, written as real records, to whatever end."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path

from led import IN_BAND, Led, lead
from random_visits import plan_and_sources

from handsfree.demo.play import DemoClock
from handsfree.desk.last_time import LastTime
from handsfree.events.record import to_record
from handsfree.ledger import Ledger
from handsfree.session.playing import AgreeingPlayer
from handsfree.visit.folder import digests


class EarlierClock(DemoClock):
    """The demo's clock, so many days ago."""

    def __init__(self, days_ago: int) -> None:
        super().__init__()
        self._wall -= days_ago * 86_400_000

    @property
    def day(self) -> date:
        """The calendar day of its present, in UTC."""
        return datetime.fromtimestamp(self.now().wall / 1000, UTC).date()


def record_led(
    folder: Path,
    name: str,
    *,
    co2: Mapping[str, float] = IN_BAND,
    answers: Mapping[str, str] | None = None,
    words: Mapping[str, str] | None = None,
    left_off: bool = True,
    days_ago: int = 0,
    before: LastTime | None = None,
) -> Path:
    """Record a visit in a new folder; one that stops is led down to its close by a person who agrees.

    It was made so many days ago, with the earlier visits that are carried into it.
    """
    plan, sources = plan_and_sources(name)
    clock, before = EarlierClock(days_ago), before or LastTime()
    led = lead(plan, co2=co2, answers=answers, words=words, day=clock.day, earlier=before.visits)
    if left_off:
        _led_down(led)
    first, *rest = led.visit.events
    first = first.model_copy(update={"sheets_sha256": digests(sources, plan)})
    ledger = Ledger.create(folder, to_record(first)[1], sources=sources, personal=before.words, clock=clock)
    for start in range(0, len(rest), 400):
        ledger.append([to_record(event) for event in rest[start : start + 400]])
    ledger.release()
    return folder


def _led_down(led: Led, most: int = 200) -> None:
    """Answer what is asked after a stop until the visit is closed."""
    for _ in range(most):
        visit = led.visit
        if visit.over:
            return
        if visit.asking:
            question = visit.state.question
            close = visit.plan.catalogue.answers["close"][0]
            visit.say(
                close if question.kind == "stopped" else question.played(AgreeingPlayer(visit.plan, visit.state))
            )
        else:
            visit.wait()
    raise AssertionError(f"not closed at {led.visit.state.gate}: {led.visit.state.question}")
