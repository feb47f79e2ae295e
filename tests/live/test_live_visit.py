"""The installed command leads a visit by voice through a virtual sound card for ten minutes.

A person of three voices answers the tool in changing noise; the visit hears them through its microphone and
speaks through its loudspeaker. What is asserted does not hang on what the speech model understands: a person
who is misheard says it again.
"""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest

from tests.live.support.closet import Stage
from tests.live.support.conversation import ROUND_S, Speakers, converse, live_visit
from tests.live.support.processes import growth_per_hour

pytestmark = pytest.mark.slow("ten minutes of real time")
LENGTH_S = 600.0
ROAR_DB = (None, 20.0, 15.0, 25.0)
"""How far the burner is below the voice, in turn, a minute each."""
WARM_S = 120.0
"""By then every grammar's graph and every prompt's first use have been seen."""
MOST_GROWTH_MB = {"visit": 6.0, "hearing": 12.0, "loudspeaker": 3.0, "voice": 3.0}
"""From the warm state to the end. Measured: see `python -m tests.bench.live --parts card endurance`."""

in_time = pytest.mark.real_time(of_file=True)
"""For what hangs on when things came about in the conversation; the seals of the record do not, nor the memory."""


@pytest.fixture(scope="module")
def visit(closet, tmp_path_factory):
    """The whole conversation, once for all tests of this file."""
    home = tmp_path_factory.mktemp("conversation")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(home / "state"))
        speakers = Speakers()
        if speakers.say("confirmed") is None:
            pytest.skip(speakers.notice)
        try:
            with live_visit(home, Stage()) as visit:
                talking = LENGTH_S - ROUND_S / 2  # the rest is for coming to the end
                converse(visit, speakers, talking, lambda s: visit.roar(ROAR_DB[int(s // 60) % len(ROAR_DB)]))
                visit.finish(speakers)
                yield visit
        finally:
            speakers.close()


def test_the_visit_ran_for_all_that_time_and_came_to_its_end(visit):
    """A person goes into another round only while there is time for it, so the last ends a little early."""
    lasted = visit.said[-1].ended - visit.said[0].began
    assert lasted > LENGTH_S - 1.3 * ROUND_S
    assert visit.process.returncode in {0, 3}, "finished, or left open by the interruption"


@in_time
def test_it_was_led_through_its_gates(visit):
    assert len(visit.said) > LENGTH_S / 15
    assert len(visit.follower.state.passed) > 3


@in_time
def test_nothing_that_was_said_is_missing_in_the_record(visit):
    """Each thing said while the tool was silent stands there as an utterance, whatever was understood of it."""
    assert [one.words for one in visit.lost()] == []
    over = [one for one in visit.said if one.heard is None]
    assert len(over) <= 0.1 * len(visit.said), "the person seldom speaks at the same moment as the tool"


@in_time
def test_times_in_the_record_do_not_drift(visit):
    """From its end in the room to its end in the record it is as long in the last minutes as in the first."""
    heard = [one for one in visit.said if one.heard is not None]
    late = np.array([one.heard.ended - one.ended for one in heard])
    quarter = max(3, len(late) // 4)
    assert abs(np.median(late[-quarter:]) - np.median(late[:quarter])) < 0.1
    assert np.percentile(late, 90) - np.percentile(late, 10) < 0.5


@in_time
def test_sound_that_was_lost_is_counted_and_marked(visit):
    """An overflow marks its utterance; most of the visit must be whole, or this machine cannot keep up."""
    marked = [entry for entry in visit.follower.heard if entry.overflow]
    assert len(marked) <= 0.1 * len(visit.follower.heard)


@in_time
def test_the_memory_of_each_process_is_flat(visit):
    samples = visit.watch.by_role()
    assert set(samples) == {"visit", "hearing", "loudspeaker", "voice"}
    for role, taken in samples.items():
        warm = [one for one in taken if one.at_s > WARM_S]
        assert len({one.process for one in warm}) == 1, f"{role} was replaced"
        hours = (warm[-1].at_s - warm[0].at_s) / 3600
        grown = growth_per_hour([one.at_s for one in warm], [one.resident_mb for one in warm]) * hours
        if grown >= MOST_GROWTH_MB[role]:
            pytest.fail(f"{role} grew by {grown:.1f} MB")


def test_the_record_verifies_at_the_end(visit, tmp_path):
    command = [sys.executable, "-m", "handsfree.commands.app", "verify", str(visit.folder), "--accept-unanchored"]
    state = os.environ | {"HANDSFREE_STATE": str(visit.folder.parent / "state")}
    done = subprocess.run(
        command, env=state, capture_output=True, text=True, cwd=tmp_path, timeout=300, check=False
    )
    assert done.returncode == visit.process.returncode, done.stdout + done.stderr
