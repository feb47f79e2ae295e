"""Bare cries and the words for what hurts people: they act at every question, and a bare cry alone can be undone.

What each of them is for: `handsfree/lexicon/english.yaml`. How far each is from all else that can be said:
`tests/bench/proofs/stop_phrases.py`.
"""

from __future__ import annotations

import pytest
from rehearsed import at, hear, of_kind, places, say, shipped, spoken, utterance

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.procedure.languages import english
from handsfree.procedure.trades import known_trades
from handsfree.session.decide import CRY_AGAIN_MS
from handsfree.session.margins import MARGINS
from handsfree.session.rehearsal import Rehearsal

CATALOGUE = shipped().catalogue
EVERYWHERE = sorted(key for key in places() if key[0])
CRIES = {
    "stop": "stop-work",
    "stop stop": "stop-work",
    "turn it off": "stop-work",
    "help": "stop-work",
    "there's a fire": "fire",
    "it's burning": "fire",
    "fire": "fire",
    "there is smoke": "fire",
    "i got a shock": "electric-shock",
    "i'm burnt": "burn",
    "i am scalded": "burn",
    "water is leaking": "flood",
    "i must leave": "must-leave",
    "flame lifting": "abnormal-burning",
    "the burner is howling": "abnormal-burning",
    "it is rumbling": "abnormal-burning",
    "delayed ignition": "abnormal-burning",
    "my head hurts": "feel-ill",
    "headache": "feel-ill",
    "alarm": "co-alarm",
}
TYPED = {"help", "fire", "headache", "alarm"}
"""Taken when typed; heard, they are too short or too near other words."""


def why(events: tuple[ev.Decision, ...]) -> str:
    (stopped,) = of_kind(events, ev.Stopped)
    return stopped.why


@pytest.mark.parametrize(("words", "hazard"), CRIES.items())
@pytest.mark.parametrize("place", [("site", "gate"), ("found-maximum", "gate"), ("found-maximum", "read-back")])
def test_what_is_cried_stops_the_work_when_typed(words: str, hazard: str, place: tuple[str, str]) -> None:
    """However it is written."""
    for written in (words, f"{words.capitalize()}!", words.upper()):
        assert why(at(*place).say(written)) == hazard


SPOKEN = {words: hazard for words, hazard in CRIES.items() if words not in TYPED}


@pytest.mark.parametrize(("words", "hazard"), SPOKEN.items())
def test_what_is_cried_stops_the_work_when_heard(words: str, hazard: str) -> None:
    """At once, over the tool's own voice, on hold, in the silent wait, and when the work is stopped already."""
    assert why(hear(at("found-maximum"), words)) == hazard
    assert why(hear(at("found-maximum"), words, over_voice=True)) == hazard
    held = at("found-maximum-temperatures")
    say(held, "hold on")
    assert why(hear(held, words)) == hazard
    assert why(hear(at("found-maximum", "waiting"), words)) == hazard


@pytest.mark.parametrize("place", EVERYWHERE, ids="/".join)
def test_a_cry_acts_at_every_question(place: tuple[str, str]) -> None:
    """Heard and typed, at each question of the whole visit."""
    assert why(hear(at(*place), "stop")) == "stop-work"
    assert why(at(*place).say("stop")) == "stop-work"
    for words in ("turn it off", "there is smoke", "i got a shock", "i'm burnt"):
        assert why(hear(at(*place), words)) == why(at(*place).say(words)) == CRIES[words]
    for words in ("help", "alarm"):
        assert why(at(*place).say(words)) == CRIES[words]


@pytest.mark.parametrize("words", ["help", "fire", "smoke", "headache", "alarm"])
def test_a_word_that_lies_too_near_another_by_sound_is_only_taken_when_typed(words: str) -> None:
    """ "Help" is near "held", "fire" near "five": by sound neither is understood, and nothing stops."""
    visit = at("found-maximum")
    grammar = shipped().grammar(visit.state.question, "found-maximum")
    assert grammar.read([words]) == ()
    assert of_kind(hear(visit, words), ev.Stopped) == []


def test_a_bare_word_counts_only_when_nothing_else_is_said() -> None:
    """A note of a door stop, or of help that came, stops no work."""
    visit = at("site")
    for words in ("the door stop is loose", "no help was there", "a fire door"):
        say(visit, "take a note")
        assert of_kind(visit.say(words), ev.Stopped) == []


def test_a_short_cry_must_lead_by_the_margin() -> None:
    """Of four phones: behind other words, or hardly ahead of them, it is none. False stops do not grow."""
    ahead = f"-{MARGINS.ours_stop}"
    assert why(hear(at("site"), ("stop", "0"), ("the same", ahead))) == "stop-work"
    assert of_kind(hear(at("site"), ("stop", "0"), ("[unk]", "-1.4")), ev.Stopped) == []
    assert of_kind(hear(at("site"), ("[unk]", "0"), ("stop", "-0.1")), ev.Stopped) == []


@pytest.mark.parametrize("trade", known_trades())
def test_no_text_of_the_tool_holds_a_cry(trade: str) -> None:
    """Not even a bare word of one: it would stop the work by its own echo."""
    words = english(trade)
    texts = [*words.sayings.values(), *words.limits.values(), *words.refusals.values()]
    texts += [hazard.script for hazard in words.hazards.values()]
    assert [text for text in texts if words.hazard_within(words.as_heard(text))] == []
    assert words.hazard_within("call for it to stop") == "stop-work"


@pytest.mark.parametrize("trade", known_trades())
def test_every_trade_says_what_to_do_in_each_danger(trade: str) -> None:
    """Its own script for each danger that any work has, at most ten words, with its source."""
    for name in ("stop-work", "must-leave", "feel-ill", "fire", "electric-shock", "burn", "flood"):
        hazard = english(trade).hazards[name]
        assert hazard.heard
        assert hazard.source
        assert len(hazard.script.split()) <= 10


@pytest.mark.parametrize("words", ["lock-out", "Lockout", "it locked out", "the burner has locked out"])
def test_a_lock_out_is_a_burner_that_went_out(words: str) -> None:
    """SAFETY, point 10: off, no repeated resets. The cause is asked; a second one stops the work."""
    visit = at("found-maximum")
    assert spoken(visit.say(words))[0] == "Leave it off. No reset. Gas cock closed."
    assert visit.state.went_out == 1


def test_rumbling_stays_an_answer_and_a_locked_isolator_no_lock_out() -> None:
    """Either as a stop would stop work that goes as it should."""
    for words in ("rumbling", "it is locked out", "locked out"):
        assert CATALOGUE.hazard_of(words, typed=True) is None


FIRING = ("found-maximum", "gate")


def test_a_bare_stop_is_undone_by_false_stop_and_what_burns_is_asked() -> None:
    """Word for word: "Stop." - order - "False stop." - "Burner: firing, or out?" - "Out." - never "Readings"."""
    visit = at(*FIRING)
    assert spoken(hear(visit, "stop")) == [CATALOGUE.hazards["stop-work"].script]
    assert spoken(hear(visit, "false stop")) == ["Burner: firing, or out?"]
    said = spoken(visit.say("Out"))
    assert not [text for text in said if text.startswith("Readings")]
    assert visit.state.gate == "found-maximum-hold"


def test_after_a_false_stop_a_burner_that_fires_goes_on_with_the_recheck() -> None:
    """Nothing else is asked: nobody laid a hand on things. The set begun is void, and the wait begins again."""
    visit = at(*FIRING)
    hear(visit, "stop")
    events = hear(visit, "false stop")
    assert of_kind(events, ev.ReEntered)
    assert visit.state.rechecks == ("burner",)
    say(visit, "firing")
    assert (visit.state.gate, visit.state.rechecks) == ("found-maximum", ())
    assert visit.state.question.kind == "waiting"


def test_false_stop_is_taken_only_after_the_order_was_spoken() -> None:
    """What comes over the order is no answer to it."""
    visit = at(*FIRING)
    cry = utterance(visit, "stop")
    visit.state = _without_speech_end(visit, cry)
    assert visit.state.speaking
    events = visit.take(utterance(visit, "false stop"))
    assert of_kind(events, ev.ReEntered) == []
    assert visit.state.status == "stopped"


def test_putting_it_right_need_not_wait_for_the_end_of_the_order() -> None:
    """A key that is pressed meanwhile counts: it leads to the steps, never to firing."""
    visit = at(*FIRING)
    visit.state = _without_speech_end(visit, utterance(visit, "stop work"))
    assert visit.state.speaking
    visit.take(inp.Typed(at=visit.state.now, text="put right"))
    assert (visit.state.status, visit.state.question.kind) == ("stopped", "stop-talk")


def _without_speech_end(visit: Rehearsal, event: inp.Input) -> object:
    from handsfree.session.apply import after, apply  # noqa: PLC0415
    from handsfree.session.decide import decide  # noqa: PLC0415

    decided = decide(visit.plan, visit.state, event)
    return after(visit.plan, apply(visit.plan, visit.state, event), decided)


@pytest.mark.parametrize("words", ["stop work", "gas smell", "turn it off"])
def test_no_other_stop_is_undone(words: str) -> None:
    """Only a bare cry may have been none."""
    visit = at(*FIRING)
    hear(visit, words)
    hear(visit, "false stop")
    assert visit.state.status == "stopped"


def test_a_stop_by_key_is_never_undone() -> None:
    """A key is not misheard: neither the STOP key nor a typed word."""
    for typed in ("stop", "stop work"):
        visit = at(*FIRING)
        visit.say(typed)
        hear(visit, "false stop")
        visit.say("false stop")
        assert visit.state.status == "stopped"


def test_a_second_stop_within_a_minute_is_never_undone() -> None:
    """It was meant: neither while stopped, nor after the first was undone."""
    visit = at(*FIRING)
    hear(visit, "stop")
    hear(visit, "stop")
    hear(visit, "false stop")
    assert visit.state.status == "stopped"
    visit = at(*FIRING)
    hear(visit, "stop")
    hear(visit, "false stop")
    hear(visit, "stop", after_ms=CRY_AGAIN_MS // 2)
    hear(visit, "false stop")
    assert visit.state.status == "stopped"
    visit = at(*FIRING)
    hear(visit, "stop")
    hear(visit, "false stop")
    hear(visit, "stop", after_ms=CRY_AGAIN_MS + 1000)
    hear(visit, "false stop")
    assert visit.state.status == "running"


def test_what_stopped_the_work_is_recorded() -> None:
    """By voice, by keys, by called values, by a written stop, by silence."""
    (by_voice,) = of_kind(hear(at(*FIRING), "stop"), ev.Stopped)
    assert (by_voice.by, "false-stop" in by_voice.ways) == ("voice", True)
    (by_keys,) = of_kind(at(*FIRING).say("stop"), ev.Stopped)
    assert (by_keys.by, "false-stop" in by_keys.ways) == ("keys", False)
    (by_value,) = of_kind(hear(at(*FIRING), "c o over range"), ev.Stopped)
    assert by_value.by == "values"
    (by_gate,) = of_kind(say(at("site"), "different"), ev.Stopped)
    assert by_gate.by == "gate"
