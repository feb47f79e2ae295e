"""No alarm at a human pace, and nobody falls silent unnoticed: `tests/bench/visit/human_pace.py`, small."""

from __future__ import annotations

import random
from functools import cache

import pytest
from human_pace import Person, Tally, collapse
from rehearsed import shipped

ALARM_S, STOP_S = 60, 70
"""So long after the work: the tone, and the stop."""

SPEAKING_S = 3


@cache
def led(seed: int) -> Tally:
    """Return what a whole visit cost."""
    return Person(shipped(), seed).lead()


@pytest.mark.parametrize("seed", [1, 2])
def test_a_visit_at_a_human_pace_is_finished_without_an_alarm(seed: int) -> None:
    tally = led(seed)
    assert tally.end == "finished"
    assert (tally.alarms, tally.false_stops) == (0, 0)
    assert tally.minutes > 120


def test_twenty_collapses_are_each_alarmed_at_in_time() -> None:
    """At any firing gate the person falls silent: the alarm, then the stop, fifteen minutes later at most."""
    dice = random.Random(1)
    for place in dice.sample(led(1).firing, 20):
        alarm, stop = collapse(place)
        assert alarm is not None
        assert stop is not None
        mark = 240 if place.state.question.kind == "mark" else 0
        work = shipped().work_ms(place.state.gate) / 1000 if place.state.question.manner.works else 0
        assert alarm <= max(mark, work + ALARM_S) + SPEAKING_S, place.state.gate
        assert stop <= max(mark, work + ALARM_S) + STOP_S - ALARM_S + 2 * SPEAKING_S, place.state.gate
        assert stop <= 15 * 60 + STOP_S + 2 * SPEAKING_S
