"""The rules of the dialogue on moving about, on being understood and on restoring, one test each."""

from __future__ import annotations

import pytest
from rehearsed import asked, at, hear, of_kind, places, say, shipped, spoken

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.gates.confirm import ConfirmGate
from handsfree.gates.outcomes import NOT_DONE
from handsfree.gates.restore import RestoreGate
from handsfree.gates.stop import StopGate
from handsfree.session.margins import MARGINS
from handsfree.session.playing import AgreeingPlayer
from handsfree.session.rehearsal import Rehearsal

ASKED = sorted(key for key in places() if key[0] and key[1] != "waiting")


@pytest.mark.parametrize("place", ASKED, ids="/".join)
def test_go_back_never_un_alters_anything(place: tuple[str, str]) -> None:
    """At every question of the visit."""
    visit = at(*place)
    before = dict(visit.state.altered)
    visit.say("go back")
    assert dict(visit.state.altered) == before


def test_go_back_asks_an_unmet_need_first() -> None:
    """Back at isolation's proof with the lock removed: the lock first, then the question."""
    visit = at("lock-off")
    visit.say("removed")
    visit.say("confirmed")
    while visit.state.gate != "isolation/gas-closed":
        before = visit.state.gate
        events = visit.say("go back")
        assert visit.state.gate != before
        if visit.state.question.kind == "thing-first":
            break
    assert visit.state.question.kind == "thing-first"
    assert "first" in spoken(events)[-1]


def test_go_back_passes_over_what_asks_nothing_now() -> None:
    """A restore with nothing left to restore, and a verdict, do not catch the person who goes back."""
    visit = at("flue-plug-leak")
    visit.say("go back")
    assert visit.state.gate == "hold-released"


def test_the_setting_is_proven_by_its_value_when_a_gate_needs_it_restored() -> None:
    """Back at "reset as found" with the reset raised: the word is not enough, the value is asked."""
    visit = at("reset-raised")
    say(visit, "raised", "go back", "go back")
    assert (visit.state.gate, asked(visit.state)) == ("reset-as-found", "thing-first")
    visit.say("restored")
    assert visit.state.question.kind == "put-back"
    assert "outdoor-reset" in visit.state.altered
    say(visit, "one point two")
    assert "outdoor-reset" in visit.state.altered
    say(visit, "one point five", "confirmed")
    assert "outdoor-reset" not in visit.state.altered
    assert (visit.state.gate, asked(visit.state)) == ("reset-as-found", "gate")


def test_a_later_turn_voids_the_readings_before_it() -> None:
    """A turn made voids what the gate names; a turn not made voids nothing."""
    visit = at("maximum-turn", "turn")
    assert "first-maximum" in visit.state.sets
    events = say(visit, "counter clockwise one eighth", "confirmed")
    assert next(event.kept_at for event in of_kind(events, ev.SetVoided)) == "first-maximum"
    unturned = at("maximum-turn", "turn")
    voids = of_kind(say(unturned, "no turn", "confirmed"), ev.SetVoided)
    assert not [event for event in voids if event.why == "the adjuster was turned"]


def test_not_done_keeps_its_reason_and_is_on_top_of_the_record() -> None:
    """As sound when spoken, as words when typed; the closing event lists the gate."""
    visit = at("settings-as-found")
    (spoken_reason,) = of_kind(hear(visit, "not done because [unk]", sound="c" * 64), ev.NotDone)
    assert spoken_reason.sound == "c" * 64
    typed = at("settings-as-found")
    (typed_reason,) = of_kind(typed.say("not done because the panel is sealed"), ev.NotDone)
    assert typed_reason.reason == "not done because the panel is sealed"
    say(typed, "stop work", "leave it off")
    for _ in range(30):
        if typed.state.status == "closed":
            break
        typed.say(typed.state.question.played(AgreeingPlayer(typed.plan, typed.state)))
    (closed,) = of_kind(typed.events, ev.VisitClosed)
    assert closed.not_done == ("settings-as-found",)


def test_a_gate_done_after_all_is_no_longer_not_done() -> None:
    """Gone back to and done, it does not stand on top of the report."""
    visit = at("settings-as-found")
    say(visit, "not done because of haste", "go back", "written down")
    assert visit.state.not_done == ()


def test_a_doubtful_not_done_is_asked_again() -> None:
    """Other speech must not leave a gate undone."""
    visit = at("settings-as-found")
    hear(visit, ("[unk]", "0"), ("not done because [unk]", "-1.0"))
    assert visit.state.gate == "settings-as-found"


REFUSED = [
    gate_id
    for gate_id, placed in shipped().procedure.gates.items()
    if isinstance(placed.gate, RestoreGate | StopGate)
    or (isinstance(placed.gate, ConfirmGate) and placed.gate.restores)
    or gate_id.startswith("isolation/")
]


def test_not_done_leads_out_of_no_stop_restore_or_isolation() -> None:
    """Of the shipped visit; telling people and the normal shut-down may be left undone."""
    with_not_done = {gate_id for gate_id in REFUSED if NOT_DONE in shipped().gate(gate_id).transitions}
    assert with_not_done <= {"isolation/people-told", "isolation/normal-shut-down"}
    assert len(REFUSED) > 30


HELD = [
    gate_id
    for gate_id in REFUSED
    if NOT_DONE not in shipped().gate(gate_id).transitions
    and {(gate_id, "gate"), (gate_id, "restore")} & set(places())
]


@pytest.mark.parametrize("gate_id", HELD)
def test_not_done_is_refused_there(gate_id: str) -> None:
    """The gate stays, with one sentence."""
    visit = at(gate_id, "gate" if (gate_id, "gate") in places() else "put-back")
    events = visit.say("not done because it is late")
    assert spoken(events)[0] == "This one must be done."
    assert visit.state.gate == gate_id


def test_a_restore_with_a_value_is_proven_by_calling_the_value() -> None:
    """T "Reset?" P "One two." T "Found at one five. Put it back."."""
    visit = at("put-back", "put-back")
    assert visit.state.question.thing == "outdoor-reset"
    assert spoken(visit.say("one point two"))[0] == "Found at one point five. Put it back."
    assert "outdoor-reset" in visit.state.altered
    visit.say("restored")
    assert "outdoor-reset" in visit.state.altered
    say(visit, "one point five")
    (restored,) = of_kind(visit.say("confirmed"), ev.Restored)
    assert restored.reading is not None
    assert restored.reading.value == "1.5"


def test_every_restore_is_read_back_before_it_counts() -> None:
    """In the whole visit no thing is restored but by a confirmation of its read-back."""
    events = places()["", "end"].events
    before: list[str] = []
    for event in events:
        if isinstance(event, ev.Asked):
            before.append(event.question.kind)
        if isinstance(event, ev.Restored):
            assert before[-1] in {"thing-check", "done-check"}
    assert len(of_kind(events, ev.Restored)) >= 10


@pytest.mark.parametrize(
    "place", [key for key in places() if key[1] in {"thing-check", "done-check", "turn-check", "finish-check"}],
    ids="/".join,
)  # fmt: skip
def test_a_read_back_is_not_affirmed_in_doubt(place: tuple[str, str]) -> None:
    """Restores, turns and the finish: however small the doubt, it is asked again; a sure word then passes."""
    for alternatives, other in (
        ((("[unk]", "0"), ("confirmed", "-0.1")), {}),
        ((("confirmed", "0"), ("no", "-1.0")), {}),
        ((("confirmed", "0"),), {"confidence": "0.400"}),
        ((("confirmed", "0"),), {"clipped": True}),
    ):
        visit = at(*place)
        altered, gate = dict(visit.state.altered), visit.state.gate
        events = hear(visit, *alternatives, **other)  # type: ignore[arg-type]
        assert dict(visit.state.altered) == altered
        assert (visit.state.gate, asked(visit.state)) == (gate, place[1])
        assert of_kind(events, ev.NotUnderstood)
        assert of_kind(hear(visit, "confirmed"), (ev.Restored, ev.Turned, ev.GatePassed))  # type: ignore[arg-type]


def test_as_found_values_are_captured_before_anything_is_altered() -> None:
    """In the whole visit each setting's value stands before its thing is altered."""
    found: set[str] = set()
    for event in places()["", "end"].events:
        if isinstance(event, ev.FoundValue):
            found.add(event.thing)
        if isinstance(event, ev.Altered) and shipped().things[event.thing].value is not None:
            assert event.thing in found
    assert found == {"outdoor-reset", "set-point"}


def test_a_stop_put_right_goes_on_where_it_was_asked_after_the_recheck() -> None:
    """A stop gate of the procedure leads back to the question that led to it, once the cause is named."""
    visit = at("site")
    visit.say("different")
    assert visit.state.status == "stopped"
    say(visit, "put right", "the sheet was wrong")
    assert (visit.state.gate, asked(visit.state)) == ("site", "gate")


def escalation(visit: Rehearsal, words: str | None) -> list[str]:
    """Return what is said at each failed attempt: silence, or words that are no answer."""
    said = []
    for _ in range(4):
        events = visit.wait() if words is None else visit.say(words)
        said += [event.text for event in of_kind(events, ev.Asked)]
    return said


def test_silence_and_no_match_escalate_in_order() -> None:
    """The same shorter, an example, digit by digit, then the keys."""
    wanted = ["ambient CO?", "Say it like: nine.", "Digit by digit: ambient CO?", "Use the keys."]
    assert escalation(at("ambient-entry"), "blue")[:4] == wanted
    assert escalation(at("ambient-entry"), None)[:3] == wanted[:3]


def test_a_choice_escalates_to_the_keys() -> None:
    """The same with its answers, all of them as the example, then the keys: there are no digits to ask for."""
    assert escalation(at("site"), "blue")[:3] == [
        "Site on the job sheet: Orchard House? The same, or different.",
        "Say it like: the same, or different.",
        "Use the keys.",
    ]


def test_counters_are_per_prompt() -> None:
    """After an answer the next prompt begins at its first wording."""
    visit = at("site")
    say(visit, "blue", "blue", "the same")
    assert visit.state.attempt == 1
    assert spoken(visit.say("blue")) == ["Occupants told. Permission given."]


def test_when_all_else_fails_the_likeliest_is_offered_for_a_yes_or_no() -> None:
    """From the fifth attempt: "The same? Confirmed, or no."; a yes passes, a no asks anew."""
    weak = (("[unk]", "0"), ("the same", "-6.0"))
    for answer, gate in (("confirmed", "permission"), ("no", "site")):
        visit = at("site")
        say(visit, "blue", "blue", "blue")
        assert spoken(hear(visit, *weak)) == ["The same? Confirmed, or no."]
        visit.say(answer)
        assert visit.state.gate == gate


def test_a_doubtful_answer_of_a_choice_is_offered_for_a_yes_or_no() -> None:
    """Tight or leaking, close together: never taken at once."""
    visit = at("sample-line")
    events = hear(visit, ("tight", "0"), ("leak found", "-2.0"))
    assert spoken(events) == ["Tight? Confirmed, or no."]
    visit.say("no")
    assert (visit.state.gate, asked(visit.state)) == ("sample-line", "gate")


def test_a_plain_confirmation_passes_when_other_speech_leads_by_little() -> None:
    """Up to the fitted margin "told" passes; beyond it nothing was said to us."""
    most = float(MARGINS.ours_strange)
    near, lost = at("permission"), at("permission")
    events = hear(near, ("[unk]", "0"), ("told", str(0.1 - most)))
    assert near.state.gate == "analyser-serial", events
    assert of_kind(hear(lost, ("[unk]", "0"), ("told", str(-0.1 - most))), ev.NotUnderstood)
    assert lost.state.gate == "permission"


@pytest.mark.parametrize("place", ASKED, ids="/".join)
def test_repeat_where_and_what_is_left_change_nothing(place: tuple[str, str]) -> None:
    """At every question the same question is open afterwards, with the same values pending."""
    for words in ("repeat", "where am i", "what is left"):
        visit = at(*place)
        question, values = visit.state.question, visit.state.pending
        visit.say(words)
        assert (visit.state.question, visit.state.pending) == (question, values)


@pytest.mark.parametrize("place", ASKED, ids="/".join)
def test_a_note_is_kept_and_returns_to_the_question(place: tuple[str, str]) -> None:
    """At every question."""
    visit = at(*place)
    question, values = visit.state.question, visit.state.pending
    visit.say("take a note")
    (note,) = of_kind(hear(visit, "[unk]", sound="d" * 64), ev.Noted)
    assert note.sound == "d" * 64
    assert (visit.state.question, visit.state.pending) == (question, values)


def test_where_and_what_is_left_name_the_gate_and_the_altered_things() -> None:
    """ "Temperatures at maximum", and what is still altered."""
    visit = at("found-maximum-temperatures")
    assert spoken(visit.say("where am i"))[0] == "Temperatures at maximum."
    assert "Rate hold" in spoken(visit.say("what is left"))[0]


def test_hold_on_and_a_short_carry_on_return_to_the_question() -> None:
    """On hold nothing else is taken; nothing is asked again after a short hold."""
    visit = at("site")
    say(visit, "hold on", "the same")
    assert visit.state.gate == "site"
    events = visit.say("carry on")
    assert not of_kind(events, ev.RecheckBegun)
    visit.say("the same")
    assert visit.state.gate == "permission"


def test_the_finish_asks_for_what_is_still_altered() -> None:
    """A thing altered after the last restore is asked for at the finish, which stays shut until it is back."""
    visit = at("finish", "finish-check")
    visit.take(inp.TimePassed(at=visit.state.now))
    assert visit.state.altered == {}
    visit.say("no")
    assert not visit.over
    visit.say("confirmed")
    assert visit.over


def test_a_lost_microphone_is_said_and_keys_go_on() -> None:
    """The visit stays at its question, which is asked again: what was said of the device took its place."""
    visit = at("site")
    question = visit.state.text
    events = visit.take(inp.DeviceLost(at=visit.state.now + 100, device="microphone"))
    assert spoken(events) == ["Microphone lost. Use the keys.", question]
    events = visit.take(inp.DeviceFound(at=visit.state.now + 100, device="microphone"))
    assert spoken(events) == ["Hearing again.", question]
    visit.say("the same")
    assert visit.state.gate == "permission"
