"""Findings are richer than good or bad; advised and faulty are told in a few words, which go on the paper."""

from __future__ import annotations

import pytest
from rehearsed import at, hear, of_kind, say, shipped, spoken

from handsfree.events import decisions as ev
from handsfree.questions.finding import Finding

INSPECTIONS = (
    "wiring", "heat-exchanger", "burner-seals", "electrode", "filter", "water-marks", "intake-and-vent",
    "relief-and-expansion", "outdoor-sensor",
)  # fmt: skip


@pytest.mark.parametrize("gate", INSPECTIONS)
def test_each_answer_of_an_inspection_leads_where_it_must(gate: str) -> None:
    """In order, cleaned, adjusted, advised and not fitted here go on; faulty stops, once it is told what is."""
    placed = shipped().gate(gate)
    assert {"in-order", "advised", "faulty"} <= set(placed.gate.phrases)
    for name, phrases in placed.gate.phrases.items():
        visit = at(gate)
        events = say(visit, phrases[0])
        if name in {"advised", "faulty"}:
            assert visit.state.question == Finding(answer=name)
            assert not of_kind(events, ev.GatePassed)
            events = say(visit, "seal worn at the back")
            (noted,) = of_kind(events, ev.Noted)
            assert (noted.gate, noted.answer, noted.text) == (gate, phrases[0], "seal worn at the back")
        assert of_kind(events, ev.GatePassed)[0].outcome == name
        assert bool(of_kind(events, ev.Stopped)) == (name == "faulty"), name


def test_the_words_are_kept_as_sound_when_they_are_spoken() -> None:
    visit = at("filter")
    hear(visit, "advised")
    events = hear(visit, "[unk]", sound="a" * 64)
    (noted,) = of_kind(events, ev.Noted)
    assert noted.sound == "a" * 64
    assert noted.gate == "filter"


def test_a_hazard_is_heard_instead_of_the_few_words() -> None:
    visit = at("filter")
    say(visit, "faulty")
    assert of_kind(say(visit, "gas smell"), ev.Stopped)[0].why == "gas-smell"


def test_an_answer_in_doubt_is_checked_before_the_few_words() -> None:
    visit = at("filter")
    hear(visit, ("advised", "0.000"), ("cleaned", "-0.500"))
    assert visit.state.question.kind == "answer-check"
    events = say(visit, "confirmed")
    assert visit.state.question == Finding(answer="advised")
    assert spoken(events) == ["Advised. What, in a few words?"]
