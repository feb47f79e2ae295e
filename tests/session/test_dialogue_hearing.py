"""When hearing fails: nothing counts as silence but the alarm, nothing is confirmed that was not said."""

from __future__ import annotations

from decimal import Decimal

import pytest
from rehearsed import at, hear, of_kind, say, spoken

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.questions.kind import ALARM_MS, NO_INPUT_MS
from handsfree.session.rehearsal import SPEAKING_MS, Rehearsal
from handsfree.session.silence import GRACE_MS, deadline

FIRING = ("found-maximum", "gate")
PAIR = "nine point four four point four one eight maximum"
"""CO2 and O2 of natural gas that fit each other: a silence after their read-back accepts them."""


def lose(visit: Rehearsal, device: str = "microphone") -> tuple[ev.Decision, ...]:
    return visit.take(inp.DeviceLost(at=visit.state.now + 100, device=device))


def find(visit: Rehearsal, device: str = "microphone") -> tuple[ev.Decision, ...]:
    return visit.take(inp.DeviceFound(at=visit.state.now + 100, device=device))


def cut(visit: Rehearsal) -> None:
    visit.take(inp.SpeechEnded(at=visit.state.now + 100, cut=True))


def accepted(events: tuple[ev.Decision, ...]) -> list[str]:
    return [event.reading.quantity for event in of_kind(events, ev.ReadingAccepted)]


def test_a_silence_after_a_read_back_accepts_nothing_while_nothing_can_be_heard() -> None:
    """The same silence accepts the pair when the recogniser is there: so the loss is what makes the difference."""
    whole = at(*FIRING)
    hear(whole, PAIR)
    assert whole.state.question.kind == "read-back"
    assert accepted(whole.wait()) == ["co2", "o2"]

    deaf = at(*FIRING)
    hear(deaf, PAIR)
    lose(deaf)
    assert deaf.state.question.kind == "read-back"
    assert not accepted(deaf.wait(5))
    events = find(deaf)
    assert spoken(events)[0] == "Hearing again."
    assert not accepted(events)
    assert accepted(deaf.wait()) == ["co2", "o2"]


def test_no_question_is_repeated_for_silence_while_nothing_can_be_heard() -> None:
    """The visit is paused: nothing is due until the recogniser is back or a key is pressed."""
    visit = at("site")
    lose(visit)
    assert deadline(visit.plan, visit.state) is None
    assert visit.wait(10 * NO_INPUT_MS / 1000) == ()
    say(visit, "the same")
    assert visit.state.gate == "permission"
    assert deadline(visit.plan, visit.state) is None
    find(visit)
    work = visit.plan.work_ms(visit.state.gate)
    assert (
        deadline(visit.plan, visit.state)
        == max(visit.state.asked_at, visit.state.silent_since + work) + NO_INPUT_MS
    )


def test_at_a_firing_gate_a_lost_microphone_does_not_switch_off_the_alarm() -> None:
    """Sixty seconds without an answer: the alarm; then the stop script. By the keys it can be answered."""
    visit = at(*FIRING)
    since = visit.state.silent_since
    lose(visit)
    alarm = visit.wait()
    assert visit.state.now == pytest.approx(since + ALARM_MS, abs=SPEAKING_MS)
    assert [event.name for event in of_kind(alarm, ev.ToneSounded)] == ["alarm"]
    stop = visit.wait()
    assert of_kind(stop, ev.Stopped)[0].why == "no-answer"
    assert visit.state.now == pytest.approx(since + ALARM_MS + GRACE_MS, abs=2 * SPEAKING_MS)

    answered = at(*FIRING)
    lose(answered)
    answered.wait(50)
    say(answered, PAIR)
    assert answered.state.status == "running"
    assert answered.state.silent_since > since + 50_000


def test_a_microphone_that_comes_back_does_not_put_off_the_alarm() -> None:
    """Its question is asked again, and the silence before still counts."""
    visit = at(*FIRING)
    since = visit.state.silent_since
    lose(visit)
    visit.wait(40)
    events = find(visit)
    assert spoken(events)[0] == "Hearing again."
    assert visit.state.silent_since == since


def test_of_two_lost_devices_both_must_be_back() -> None:
    visit = at("site")
    lose(visit, "recogniser")
    lose(visit, "microphone")
    assert find(visit, "recogniser") == ()
    assert visit.state.deaf
    assert spoken(find(visit, "microphone"))[0] == "Hearing again."


@pytest.mark.parametrize("change", [lose, find])
def test_the_script_that_stops_the_work_is_never_spoken_over(change) -> None:  # type: ignore[no-untyped-def]
    """While stopped the devices are on the screen only."""
    visit = at(*FIRING)
    say(visit, "gas smell")
    assert visit.state.status == "stopped"
    assert change(visit) == ()


def test_after_a_resumption_the_recogniser_is_there_until_told_otherwise() -> None:
    visit = at("site")
    lose(visit)
    visit.resume()
    assert not visit.state.deaf


def test_a_read_back_that_was_cut_off_is_neither_confirmed_nor_accepted_by_silence() -> None:
    """It is said again in full; only then the confirmation counts."""
    visit = at(*FIRING)
    hear(visit, PAIR)
    read_back = visit.state.text
    cut(visit)
    assert visit.wait(10) == ()
    assert not visit.state.speaking
    cut(visit)
    events = hear(visit, "confirmed")
    assert not accepted(events)
    assert spoken(events) == [read_back]
    assert accepted(hear(visit, "confirmed"))


def test_a_correction_over_a_read_back_counts_at_once() -> None:
    visit = at(*FIRING)
    hear(visit, PAIR)
    cut(visit)
    events = hear(visit, "no c o eighty")
    assert [event.now.value for event in of_kind(events, ev.ReadingCorrected)] == ["80"]


def test_an_answer_over_a_question_is_an_answer() -> None:
    visit = at("site")
    cut(visit)
    hear(visit, "the same")
    assert visit.state.gate == "permission"


def test_speech_not_understood_over_a_question_has_it_asked_in_full_again() -> None:
    """Not the shorter form: nobody heard the long one."""
    visit = at("ambient-entry")
    question = visit.state.text
    cut(visit)
    assert spoken(hear(visit, "[unk]")) == [question]


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("too-noisy", "Too noisy. Use the keys."),
        ("too-loud", "Microphone too loud. Turn it down."),
        ("too-quiet", "Microphone too quiet. Come closer."),
        ("lost", "Sound lost. Close other programs."),
    ],
)
def test_poor_sound_has_its_advice_and_changes_nothing_else(fault: str, said: str) -> None:
    visit = at("site")
    before = visit.state
    poor = inp.SoundPoor(
        at=before.now + 100, fault=fault, noise_db=Decimal(-30), speech_db=Decimal(-29), lost_blocks=7
    )
    assert spoken(visit.take(poor)) == [said]
    assert (visit.state.gate, visit.state.question) == (before.gate, before.question)
