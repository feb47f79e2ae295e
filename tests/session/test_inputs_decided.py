"""What follows from single inputs: devices, a program begun again, the phone, words written down, second cries."""

from __future__ import annotations

from typing import Any

import pytest
from rehearsed import at, hear, of_kind, spoken, utterance

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.session.rehearsal import Rehearsal

GONE = "The approval no longer holds. Read why on the screen."


def kept(whose: Any, what: Any) -> inp.PersonalData:
    return inp.PersonalData(commitment="c" * 64, whose=whose, what=what)


# What comes from the page of a phone


def test_a_photo_or_a_signature_that_nothing_asks_for_is_answered() -> None:
    """Whoever sent it hears that it was not the moment, and the question stands."""
    visit = at("permission")
    before = visit.state.question
    photo = inp.PhotoTaken(at=visit.state.now, gate="permission", photo=kept("customer", "photo"), source="page")
    signature = inp.SignatureDrawn(at=visit.state.now, gate="permission", signature=kept("customer", "signature"))
    assert spoken(visit.take(photo)) == ["No photo now."]
    assert spoken(visit.take(signature)) == ["No signature now."]
    assert visit.state.question == before


# Devices


def test_an_instrument_is_told_when_it_falls_silent_first_and_never_when_it_is_back() -> None:
    """Also where it was not known to be silent."""
    visit = at("permission")
    question = visit.state.text
    expected = [
        ("found", []),
        ("lost", ["Instrument silent. We go on without it.", question]),
        ("found", []),
        ("lost", []),
    ]
    for change, said in expected:
        kind = inp.DeviceFound if change == "found" else inp.DeviceLost
        assert spoken(visit.take(kind(at=visit.state.now + 1, device="instrument"))) == said, change


# The program begun again


def resumed(visit: Rehearsal, fault: str) -> list[str]:
    event = inp.Resumed(at=visit.state.now + 1, program="test", approval_fault=fault)
    return spoken(visit.take(event))


def test_an_approval_that_is_gone_is_told_before_the_work_goes_on() -> None:
    said = resumed(at("found-maximum"), "withdrawn")
    assert (said[0], said.count(GONE)) == (GONE, 1)
    assert GONE not in resumed(at("found-maximum"), "")


@pytest.mark.parametrize(
    ("cry", "order"),
    [
        ("gas smell", ["Gas. Touch no switch. Everyone out. Call from outside."]),
        ("stop work", ["Stopped.", "Put right, or leave it off?"]),
    ],
)
@pytest.mark.parametrize("fault", ["", "withdrawn"])
def test_under_a_stop_its_order_comes_before_the_approval(cry: str, order: list[str], fault: str) -> None:
    """To those who were told to leave nothing is said but the order; to the others, that the work is stopped."""
    visit = at("permission")
    visit.say(cry)
    assert resumed(visit, fault) == [*order, *([GONE] if fault else [])]


# Free words


def note_of(*alternatives: tuple[str, str], general: inp.GeneralHearing | None = None, **other: Any) -> ev.Noted:
    """Return what is noted of an utterance when a note is asked for."""
    visit = at("permission")
    visit.say("take a note")
    heard = utterance(visit, *alternatives, **other).model_copy(update={"general": general})
    (noted,) = of_kind(visit.take(heard), ev.Noted)
    assert isinstance(noted, ev.Noted)
    return noted


WORDS = inp.GeneralHearing(member="test", text="personal:1234", words=kept("technician", "words"))
IN_CLEAR = inp.GeneralHearing(member="test", text="Told.")


def test_a_note_is_its_sound_or_its_likeliest_words_where_no_sound_is_kept() -> None:
    heard = ("told", "0"), ("told told", "-1")
    assert note_of(*heard, sound="d" * 64).text == ""
    assert note_of(*heard).text == "told"
    assert note_of(*heard, sound="d" * 64).sound == "d" * 64


@pytest.mark.parametrize("sound", [None, "d" * 64])
def test_free_words_stand_in_a_note_as_the_machine_wrote_them(sound: str | None) -> None:
    """Put away, and told as such, with a sound beside them and without one."""
    assert note_of(("[unk]", "0"), general=WORDS, sound=sound).text == "personal:1234 (machine-written)"


def test_words_in_clear_and_words_that_our_ears_know_are_not_written_down() -> None:
    """What the machine wrote stands for unknown speech alone."""
    assert note_of(("[unk]", "0"), general=IN_CLEAR, sound="d" * 64).text == ""
    assert note_of(("told", "0"), general=WORDS, sound="d" * 64).text == ""
    assert note_of(("told", "0"), general=IN_CLEAR).text == "told"


# A second cry


def ways_after(visit: Rehearsal, ms: int) -> tuple[str, ...]:
    """Cry stop so long after the work was stopped; return the ways on that are open."""
    assert visit.state.stopped_at is not None
    hear(visit, "stop", after_ms=visit.state.stopped_at + ms - visit.state.now)
    assert visit.state.halt is not None
    return visit.state.halt.ways


@pytest.mark.parametrize(("ms", "undoable"), [(59_999, False), (60_000, True)])
def test_a_second_cry_within_a_minute_of_the_first_is_meant(ms: int, *, undoable: bool) -> None:
    """Although the first was none; a minute later it may be none again."""
    visit = at("found-maximum")
    hear(visit, "stop")
    visit.until_asking()
    hear(visit, "false stop")
    assert visit.state.status == "running"
    assert ("false-stop" in ways_after(visit, ms)) == undoable


def test_a_cry_under_a_stop_is_meant_however_late_it_comes() -> None:
    visit = at("found-maximum")
    hear(visit, "stop")
    assert "false-stop" in visit.state.halt.ways  # type: ignore[union-attr]
    assert "false-stop" not in ways_after(visit, 90_000)
