"""A wait in which nothing is read: only time passes it, stops are heard meanwhile, no interruption shortens it."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.gates import as_kind
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import failures
from handsfree.procedure.sheets import load_sheets
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal

FAN = Path(__file__).parents[2] / "handsfree" / "trades" / "ventilation" / "example" / "jobsheet.yaml"
WRITTEN = """\
handsfree: 2
procedure: drying
trade: ventilation
title: Drying a duct
purpose: The duct is dried by the running fan.
cautions: [Local code and the maker's manual come first.]
gates:
  - id: started
    kind: confirm
    title: Fan running
    source: common practice, no source
    prompt: Run the fan at boost.
    done: [running]
  - id: dried
    kind: wait
    title: Duct dried
    source: common practice, no source
    prompt: The fan dries the duct.
    seconds: 1800
  - id: seen
    kind: confirm
    title: Duct seen
    source: common practice, no source
    prompt: Look into the duct.
    done: [looked]
  - id: finish
    kind: finish
    title: Finish
    source: common practice, no source
"""


def written(folder: Path, text: str = WRITTEN) -> Path:
    path = folder / "drying.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def waiting(folder: Path) -> Rehearsal:
    sheets, _ = load_sheets(FAN)
    visit = Rehearsal(Plan(load_procedure(written(folder)), sheets).check(), date(2026, 11, 28))
    visit.say("running")
    return visit


def said(visit: Rehearsal, since: int = 0) -> list[str]:
    return [event.text for event in visit.events[since:] if isinstance(event, ev.Said | ev.Asked) and event.text]


def test_it_says_what_passes_and_how_long_and_goes_on_by_itself(tmp_path: Path) -> None:
    """Half an hour of silence, a tone, and the next question; nothing said meanwhile shortens it."""
    visit = waiting(tmp_path)
    assert said(visit)[-2:] == ["The fan dries the duct.", "Wait 30 minutes. I will call."]
    entered = visit.state.entered_at
    for words in ("looked", "done", "yes"):
        visit.say(words)
        assert visit.state.gate == "dried"
    visit.until_asking()
    assert visit.state.gate == "seen"
    (passed,) = (event for event in visit.events if isinstance(event, ev.GatePassed) and event.gate == "dried")
    assert passed.at - entered == 1_800_000
    assert [event.name for event in visit.events if isinstance(event, ev.ToneSounded)] == ["attention"]


def test_a_stop_is_heard_meanwhile_and_the_wait_begins_anew_after_it(tmp_path: Path) -> None:
    """What was waited for may have been switched off."""
    visit = waiting(tmp_path)
    visit.wait(1_000)
    visit.say("stop work")
    assert visit.state.status == "stopped"
    for _ in range(20):
        if visit.state.status == "running":
            break
        visit.say(_on(visit))
    assert visit.state.gate == "dried"
    begun = visit.state.now
    visit.until_asking()
    (passed,) = (event for event in visit.events if isinstance(event, ev.GatePassed) and event.gate == "dried")
    assert passed.at - begun > 1_790_000


def test_a_false_stop_in_a_wait_costs_its_own_time_alone(tmp_path: Path) -> None:
    """Twenty of thirty minutes have passed: ten are left, and nothing altered is asked again.

    What was waited for may have been switched off during the stop, so that its two seconds do not count.
    """
    visit = waiting(tmp_path)
    entered = visit.state.entered_at
    visit.wait(1_200)
    at, word = visit.state.now + 1_000, inp.HeardWord(word="stop", start_ms=0, end_ms=200, confidence=Decimal(1))
    for words in (("stop",), ("false", "stop")):
        said_so = tuple(word.model_copy(update={"word": one}) for one in words)
        heard = inp.Alternative(words=said_so, score=Decimal(0))
        visit.take(inp.Heard(at=at, alternatives=(heard,), grammar="told", started=at - 900, ended=at))
        visit.until_asking() if words == ("false", "stop") else visit.take(inp.SpeechEnded(at=at))
        at += 2_000
    (passed,) = (event for event in visit.events if isinstance(event, ev.GatePassed) and event.gate == "dried")
    assert passed.at - entered == 1_800_000 + 2_000
    assert [event.items for event in visit.events if isinstance(event, ev.RecheckBegun)] == [()]


def _on(visit: Rehearsal) -> str:
    """Return words that lead back into the work."""
    question = visit.state.question
    if question.kind == "stopped":
        return "put right"
    if question.kind == "stop-talk":
        return "a belt"
    words = visit.plan.catalogue.steps[question.step]  # type: ignore[union-attr]
    facts = visit.plan.catalogue.stops.steps[question.step]  # type: ignore[union-attr]
    return words.answers[facts.on[0]][0]


def test_an_interruption_of_the_program_does_not_shorten_it(tmp_path: Path) -> None:
    visit = waiting(tmp_path)
    entered = visit.state.entered_at
    visit.wait(1_000)
    visit.resume()
    assert said(visit)[-1] == "Wait 14 minutes. I will call."
    visit.until_asking()
    (passed,) = (event for event in visit.events if isinstance(event, ev.GatePassed) and event.gate == "dried")
    assert passed.at - entered >= 1_800_000


def test_it_may_be_left_undone_with_a_reason(tmp_path: Path) -> None:
    visit = waiting(tmp_path)
    visit.say("not done because it is dry")
    assert visit.state.gate == "seen"
    assert visit.state.not_done == ("dried",)


def test_a_wait_on_hold_is_over_when_the_work_goes_on_later(tmp_path: Path) -> None:
    visit = waiting(tmp_path)
    visit.say("hold on")
    visit.wait(2_000)
    assert visit.state.gate == "dried"
    visit.say("carry on")
    visit.until_asking()
    assert visit.state.gate == "seen"


def test_every_proof_holds_over_a_wait(tmp_path: Path) -> None:
    assert not failures(load_procedure(written(tmp_path)))


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("seconds: 1800", "seconds: 90000", 19),
        ("seconds: 1800", "seconds: 0", 19),
        ("kind: wait", "kind: wait\n    firing: true", 20),
    ],
)
def test_too_long_none_and_too_long_while_firing_are_refused_with_the_line(
    tmp_path: Path, old: str, new: str, line: int
) -> None:
    with pytest.raises(Problem) as refused:
        load_procedure(written(tmp_path, WRITTEN.replace(old, new, 1)))
    assert f"drying.yaml:{line}" in str(refused.value)
    assert "seconds" in str(refused.value)


def test_a_shorter_wait_is_told_by_comparing(tmp_path: Path) -> None:
    before = load_procedure(written(tmp_path))
    after = load_procedure(written(tmp_path, WRITTEN.replace("1800", "600")))
    lost = list(as_kind(after.gates["dried"].gate).lost(as_kind(before.gates["dried"].gate)))
    assert lost == ["waits 600 s in place of 1800"]


@pytest.mark.parametrize(
    ("milliseconds", "text"),
    [
        (178_800, "Wait three minutes. I will call."),
        (90_000, "Wait 90 seconds. I will call."),
        (180_000, "Wait three minutes. I will call."),
        (1_800_000, "Wait 30 minutes. I will call."),
        (1_799_500, "Wait 30 minutes. I will call."),
        (821_200, "Wait 14 minutes. I will call."),
        (7_200_000, "Wait 2 hours. I will call."),
        (5_400_000, "Wait 90 minutes. I will call."),
    ],
)
def test_a_wait_is_said_in_a_unit_that_fits(tmp_path: Path, milliseconds: int, text: str) -> None:
    assert waiting(tmp_path).plan.catalogue.wait_text(milliseconds) == text
