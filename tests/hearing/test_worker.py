import functools
import os
import queue
import signal
import sys
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))  # spawned children import the stand-ins by name

from scripted_recogniser import PATIENCE_S as FAULT_PATIENCE_S
from scripted_recogniser import BrokenRecogniser, FaultyRecogniser, ScriptedRecogniser, Unplugged, said

from handsfree.hearing.listener import SpeechBegan, Utterance
from handsfree.hearing.sources import Recording, SoundFile
from handsfree.hearing.worker import (
    Hearing,
    HearingBack,
    HearingFailed,
    HearingPlan,
    HearingRestarted,
    MicrophoneBack,
    MicrophoneGone,
    SourceEnded,
    recogniser_of,
)
from handsfree.lexicon.automaton import phrases
from handsfree.supervisor import hangs

pytestmark = pytest.mark.real_time
SCRIPT = ("yes", "no", "stop")
GRAMMAR = phrases(["yes", "no"]).automaton()
PATIENCE_S = 20


def events_of(hearing):
    """Everything heard until the source ends or hearing fails."""
    events = []
    try:
        while not isinstance(events[-1] if events else None, (SourceEnded, HearingFailed)):
            event = hearing.next_event(PATIENCE_S)
            assert event is not None, f"nothing more after {events}"
            events.append(event)
    finally:
        hearing.close()
    return events


def started(plan, **options):
    hearing = Hearing(plan, **options)
    hearing.listen_for(GRAMMAR)
    return hearing


def kinds(events):
    return [type(event) for event in events if not isinstance(event, SpeechBegan)]


def words(events):
    return [event.alternatives[0].text for event in events if isinstance(event, Utterance)]


def test_utterances_come_from_another_process_and_end_with_the_source():
    recogniser = functools.partial(ScriptedRecogniser, SCRIPT)
    hearing = started(HearingPlan(Recording(said(SCRIPT, 1.0, "yes", 1.0, "no", 1.0)), recogniser))
    events = events_of(hearing)
    assert kinds(events) == [Utterance, Utterance, SourceEnded]
    assert words(events) == [("yes",), ("no",)]
    assert events[-1].at_ms == pytest.approx(3680, abs=20)


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        ("segfault", "SIGSEGV"),
        ("hang", "hung"),
        pytest.param("abort", "SIGABRT", marks=pytest.mark.slow("another signal, the same way")),
        pytest.param("circle", "hung", marks=pytest.mark.slow("hung as well, and seconds of work")),
    ],
)
def test_a_native_crash_or_a_hang_becomes_an_event_and_hearing_goes_on(tmp_path, fault, told):
    recogniser = functools.partial(FaultyRecogniser, SCRIPT, fault, tmp_path / "has happened")
    samples = said(SCRIPT, 0.5, "yes", 1.0, "no", 0.5)
    hearing = started(HearingPlan(Recording(samples, paced=True), recogniser), hung_after_s=FAULT_PATIENCE_S)
    events = events_of(hearing)
    restart = next(event for event in events if isinstance(event, HearingRestarted))
    assert told in restart.reason
    assert hearing.restarts == 1
    assert words(events)[-1] == ("no",)
    times = [event.ended_ms for event in events if isinstance(event, Utterance)]
    assert times[-1] == pytest.approx(2140, abs=60), "the source's clock goes on where it was"


def test_a_child_that_gets_little_of_the_processor_has_not_hung(tmp_path):
    """It says nothing for twice the patience, and hears what was said all the same."""
    recogniser = functools.partial(FaultyRecogniser, SCRIPT, "slow", tmp_path / "has happened")
    samples = said(SCRIPT, 0.5, "yes", 1.0, "no", 0.5)
    events = events_of(started(HearingPlan(Recording(samples), recogniser), hung_after_s=FAULT_PATIENCE_S))
    assert kinds(events) == [Utterance, Utterance, SourceEnded]


@pytest.mark.parametrize(
    ("silent", "worked", "hung"),
    [
        (2.9, 0.0, False),  # within its patience
        (3.1, 0.0, True),  # it waits for what does not come
        (3.1, None, True),  # nobody tells what it worked
        (3.1, 3.05, True),  # it goes round in a circle
        (9.0, 2.5, False),  # it works, and gets little of the processor
        (12.1, 2.5, True),  # nobody waits for ever
    ],
)
def test_busy_is_told_from_hung(silent, worked, hung):
    assert hangs(silent, worked, 3.0) is hung


def test_a_child_killed_from_outside_is_replaced():
    recogniser = functools.partial(ScriptedRecogniser, SCRIPT)
    hearing = started(HearingPlan(Recording(said(SCRIPT, 1.0, "yes", 2.5, "no", 0.5), paced=True), recogniser))
    event = None
    while not isinstance(event, Utterance):
        event = hearing.next_event(PATIENCE_S)
    os.kill(hearing.process_id, signal.SIGKILL)
    events = events_of(hearing)
    assert kinds(events) == [HearingRestarted, HearingBack, Utterance, SourceEnded]
    assert "SIGKILL" in events[0].reason
    assert words(events) == [("no",)]


@pytest.mark.slow("five processes with a model each")
def test_a_recogniser_that_always_dies_is_given_up():
    hearing = started(HearingPlan(Recording(said(SCRIPT, "yes")), BrokenRecogniser))
    events = events_of(hearing)
    assert kinds(events) == [HearingRestarted, HearingRestarted, HearingFailed]
    assert "SIGABRT" in events[-1].problem.sentence()


def test_a_bad_model_or_sound_file_is_told_as_the_problem_it_is(tmp_path):
    missing = tmp_path / "nowhere"
    (failed,) = events_of(
        started(HearingPlan(Recording(np.zeros(1, np.int16)), functools.partial(recogniser_of, missing)))
    )
    assert str(missing) in failed.problem.sentence()
    recogniser = functools.partial(ScriptedRecogniser, SCRIPT)
    (failed,) = events_of(started(HearingPlan(SoundFile(missing), recogniser)))
    assert failed.problem.sentence() == f"{missing}: there is no such sound file"


def test_a_microphone_pulled_out_is_looked_for_until_it_is_back(tmp_path):
    """The first look finds none; the second hears again. The clock has gone on in the meantime."""
    source = Unplugged(said(SCRIPT, 1.0, "yes", 1.0), tmp_path / "times opened")
    hearing = started(HearingPlan(source, functools.partial(ScriptedRecogniser, SCRIPT)))
    events = []
    while sum(isinstance(event, Utterance) for event in events) < 2:
        event = hearing.next_event(PATIENCE_S)
        assert event is not None
        if not isinstance(event, SpeechBegan):
            events.append(event)
    hearing.close()
    assert kinds(events) == [Utterance, MicrophoneGone, MicrophoneBack, Utterance]
    assert events[1].name == "scripted microphone"
    assert events[3].started_ms - events[0].started_ms > 3000
    assert hearing.restarts == 0


def test_wishes_reach_the_child_while_it_listens():
    """While the tool itself speaks, only stop words count."""
    recogniser = functools.partial(ScriptedRecogniser, SCRIPT)
    samples = said(SCRIPT, 0.5, "yes", 1.5, "stop", 0.5)
    plan = HearingPlan(Recording(samples, paced=True), recogniser, phrases(["stop"]).automaton())
    hearing = started(plan)
    hearing.tool_speaks(True)
    events = events_of(hearing)
    assert words(events) == [("stop",)]


def test_closing_ends_the_child_and_leaves_nothing_behind():
    recogniser = functools.partial(ScriptedRecogniser, SCRIPT)
    hearing = started(HearingPlan(Recording(said(SCRIPT, 60.0), paced=True), recogniser))
    deadline = time.monotonic() + PATIENCE_S
    while not (process := hearing.process_id) and time.monotonic() < deadline:
        time.sleep(0.01)
    assert process != os.getpid()
    hearing.close()
    with pytest.raises(ProcessLookupError):
        os.kill(process, 0)
    with pytest.raises(queue.Empty):
        hearing.events.get_nowait()
