"""Ordinary words: "yes" and the like pass what is merely done or merely right, and nothing that protects.

The gates below are told apart here by the trade, not by the data that the program goes by.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from rehearsed import at, of_kind, places, shipped, spoken

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.gates.choice import ChoiceGate
from handsfree.gates.confirm import ConfirmGate
from handsfree.lexicon.distance import phrase_distance
from handsfree.procedure.procedure import load_procedure

WORDS = ("yes", "okay", "done", "all good")

PROTECTS = {
    "two-rate-combustion": {  # isolation, covers, gas, purge, the flue open, settings, rates, what is put back
        "isolation/normal-shut-down", "isolation/power-isolated", "isolation/lock-fitted", "isolation/gas-closed",
        "cover-off", "maximum-cover-off", "minimum-cover-off", "maximum-grommet-off", "minimum-grommet-off",
        "maximum-cap-off", "minimum-cap-off", "meter-valve-closed", "meter-gauge", "inlet-gauge", "gas-open",
        "gas-purged", "lock-off", "power-on", "plug-out", "probe-in", "reset-raised", "set-point-raised",
        "added-load-on", "heat-call", "heat-call-again", "maximum-hold", "minimum-hold", "found-maximum-hold",
        "first-maximum-hold", "first-minimum-hold", "minimum-again-hold", "second-maximum-hold",
        "second-minimum-hold", "final-hold", "hold-off", "hold-released", "air-flue-plug", "air-probe-in",
        "flue-plug-out", "probe-back", "input-found/others-off", "input-found/others-off-again",
        "input-final/others-off", "input-final/others-off-again", "burner-at-rest", "entry-source",
    },
    "safe-isolation": {"normal-shut-down", "power-isolated", "lock-fitted", "gas-closed"},
}  # fmt: skip


def confirms(procedure: str) -> set[str]:
    """Return the gates where something is done."""
    loaded = load_procedure(Path(__file__).parents[2] / "procedures" / f"{procedure}.yaml")
    return {name for name, placed in loaded.gates.items() if isinstance(placed.gate, ConfirmGate)}


@pytest.mark.parametrize("procedure", PROTECTS)
def test_the_gates_that_protect_take_their_own_words_alone(procedure: str) -> None:
    loaded = load_procedure(Path(__file__).parents[2] / "procedures" / f"{procedure}.yaml")
    ordinary = {name for name, placed in loaded.gates.items() if placed.gate.effects.ordinary}
    assert ordinary == confirms(procedure) - PROTECTS[procedure]
    assert PROTECTS[procedure] <= set(loaded.gates)


@pytest.mark.parametrize("words", WORDS)
def test_what_is_merely_done_takes_ordinary_words(words: str) -> None:
    for name in ("permission", "analyser-zeroed", "personal-monitor", "area-clean"):
        visit = at(name)
        passed = of_kind(visit.say(words), ev.GatePassed)
        assert [event.outcome for event in passed][:1] == ["done"], name


@pytest.mark.parametrize("place", sorted({key for key in places() if key[0]}), ids="/".join)
def test_ordinary_words_change_and_answer_nothing_else(place: tuple[str, str]) -> None:
    """At every question of the visit: nothing altered, restored, turned, chosen, judged or cleared by them."""
    gate, question = place
    for words in WORDS:
        visit = at(*place)
        events = visit.say(words)
        kinds = {event.kind for event in events}
        assert not kinds & {"altered", "restored", "turned", "cleared", "visit-closed", "marked"}, words
        if not shipped().gate(gate).gate.effects.ordinary and question not in {"read-back", "answer-check"}:
            assert "gate-passed" not in kinds, words


def test_values_read_back_are_right_by_an_ordinary_yes() -> None:
    for words in ("yes", "okay", "all good"):
        visit = at("found-maximum", "read-back")
        assert of_kind(visit.say(words), ev.ReadingAccepted), words
    visit = at("found-maximum", "read-back")
    assert not of_kind(visit.say("done"), ev.ReadingAccepted)  # one phone from "one"


def test_a_prompt_that_was_cut_off_is_asked_over() -> None:
    """Nobody can say yes to what was not said to its end."""
    visit = at("analyser-zeroed")
    visit.take(inp.SpeechEnded(at=visit.state.now, cut=True))
    assert not of_kind(visit.say("okay"), ev.GatePassed)


def test_no_verdict_is_suggested_when_a_choice_is_not_understood() -> None:
    """Every choice: asked again, by silence or by words not understood, all its answers are named or none."""
    plan = shipped()
    for gate, question in places():
        if not gate or question != "gate" or not isinstance(plan.gate(gate).gate, ChoiceGate):
            continue
        answers = [texts[0] for texts in plan.gate(gate).gate.phrases.values()]
        visit = at(gate)
        told = [spoken(visit.say("blue")) for _ in range(4)]
        for texts in told:
            named = [one for one in answers if one in " ".join(texts).lower()]
            assert named in ([], answers), (gate, texts)
        assert all(one in " ".join(told[0]).lower() for one in answers), (gate, told[0])


def test_the_states_of_a_thing_and_what_burns_are_not_suggested_either() -> None:
    visit = at("maximum-hold")
    visit.resume()
    told = " ".join(" ".join(spoken(visit.say("blue"))) for _ in range(2)).lower()
    firing, off = (shipped().catalogue.answers[name][0] for name in ("firing", "off"))
    assert firing in told
    assert off in told


def test_ordinary_words_sound_unlike_a_denial() -> None:
    """ "Yeah" is 1.7 phones from "no", so it is none of them; see `handsfree/procedure/proofs/hearing.py`."""
    words = shipped().catalogue
    spoken_as = words.pronounced({})
    for yes in words.answers["yes"]:
        for no in words.answers["deny"]:
            assert phrase_distance(yes.split(), no.split(), spoken_as) > 1.9, (yes, no)
