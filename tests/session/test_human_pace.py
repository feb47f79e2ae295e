"""No alarm at a human pace, and nobody falls silent unnoticed: `tests/bench/visit/human_pace.py`, small."""

from __future__ import annotations

import random
from functools import cache

import pytest
from human_pace import Person, Tally, collapse
from led import VISITS, plan_of
from rehearsed import with_job

from handsfree.trades.sheets import Alert

ALARM_S, STOP_S = 60, 70
"""So long after the work: the tone, and the stop."""

SPEAKING_S = 3

FAST, SLOW = ("annual-service", "combustion-check"), pytest.mark.slow("whole visits, a second each")


@cache
def led(name: str) -> Tally:
    """Return what a whole visit cost."""
    return Person(plan_of(name, with_job(alert=Alert(who="the office", number="0555 0100"))), seed=1).lead()


@pytest.mark.parametrize("name", [one if one in FAST else pytest.param(one, marks=SLOW) for one in VISITS])
def test_a_visit_at_a_human_pace_is_finished_without_an_alarm(name: str) -> None:
    tally = led(name)
    assert tally.end == "finished"
    assert (tally.alarms, tally.false_stops) == (0, 0)
    assert tally.minutes > (20 if name == "combustion-check" else 120)


@pytest.mark.parametrize("names", [FAST, pytest.param(VISITS, marks=SLOW)], ids=["two", "seven"])
def test_twenty_collapses_are_each_alarmed_at_in_time(names: tuple[str, ...]) -> None:
    """At any firing gate of any visit: the alarm, the stop fifteen minutes later at most; somebody is told."""
    for place in random.Random(1).sample([place for name in names for place in led(name).firing], 20):
        fate, question = collapse(place), place.state.question
        assert fate.alarm is not None
        assert fate.stop is not None
        mark = 240 if question.kind == "mark" else 0
        work = place.plan.work_ms(place.state.gate) / 1000 if question.manner.works else 0
        assert fate.alarm <= max(mark, work + ALARM_S) + SPEAKING_S, place.state.gate
        assert fate.stop <= max(mark, work + ALARM_S) + STOP_S - ALARM_S + 2 * SPEAKING_S, place.state.gate
        assert fate.stop <= 15 * 60 + STOP_S + 2 * SPEAKING_S
        assert fate.told, place.state.gate
