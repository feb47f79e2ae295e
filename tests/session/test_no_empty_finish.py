"""A visit that ends without what its procedure is for is left incomplete, with the reasons, and never finished.

What a visit of combustion must show is SAFETY F, "never cut or merged": CO at both rates with the cover on.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from rehearsed import DAY, ROOT, of_kind, shipped, technician

from handsfree.events import decisions as ev
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import NOTHING_PROVEN, check
from handsfree.session.rehearsal import Rehearsal
from handsfree.shipped import shipped_procedures

COMBUSTION = ("found-maximum", "found-minimum", "final-maximum", "final-temperatures")
"""The four places where combustion is read on a boiler found in its band."""


def led(undone: tuple[str, ...] = (), without_co: tuple[str, ...] = ()) -> Rehearsal:
    """Return a whole visit in the band: some gates not done, at some the CO shown as dashes."""
    visit, person = Rehearsal(shipped(), DAY), technician(shipped())
    person.boiler.co2 = {"maximum": 9.4, "minimum": 9.4}
    for _ in range(3000):
        if visit.over or visit.state.status == "stopped":
            return visit
        if not visit.asking:
            person.notice(visit.wait(), visit.state.now / 1000)
            continue
        state = visit.state
        if state.gate in undone and state.question.manner.asker == "gate":
            person.notice(visit.say("not done because there is no time"), visit.state.now / 1000)
            continue
        seconds = person.seconds_before(state)
        if seconds:
            visit.wait(seconds)
        words = person.answer(state)
        if state.gate in without_co and state.question.kind == "values":
            rate = words.split()[-1]
            words = f"nine point four four point four dashes {rate}"
        elif state.gate in without_co and state.question.kind == "read-back":
            words = "confirmed"
        person.notice(visit.say(words), visit.state.now / 1000)
    raise AssertionError(f"no end at {visit.state.gate}")


@cache
def nothing_read() -> Rehearsal:
    """Return the visit of the review: all four combustion places not done."""
    return led(undone=COMBUSTION)


def closed(visit: Rehearsal) -> ev.VisitClosed:
    """Return the last event."""
    (event,) = of_kind(visit.events, ev.VisitClosed)
    return event


def test_a_whole_visit_is_finished() -> None:
    """Nothing lacks on the ordinary way."""
    visit = led()
    assert (closed(visit).outcome, closed(visit).lacking) == ("finished", ())


def test_without_any_combustion_reading_it_is_left_incomplete() -> None:
    """All four places "not done": on the old program this visit finished."""
    event = closed(nothing_read())
    assert event.outcome == "incomplete"
    assert {(one.what, one.why) for one in event.lacking} == {
        ("maximum rate as left", "no reading"),
        ("minimum rate as left", "not done"),
    }


def test_it_is_told_before_it_is_confirmed() -> None:
    """The person may still go back: the last question says what lacks."""
    texts = [event.text for event in of_kind(nothing_read().events, ev.Asked)]
    assert "Restored. Left incomplete: maximum rate as left, minimum rate as left. Confirmed?" in texts
    assert "Everything restored. Finish. Confirmed?" not in texts


def test_a_final_carbon_monoxide_of_dashes_proves_nothing() -> None:
    """The instrument showed no CO: the last set at maximum is no reading of combustion."""
    event = closed(led(without_co=("final-maximum",)))
    assert event.outcome == "incomplete"
    assert [(one.what, one.why) for one in event.lacking] == [("maximum rate as left", "no reading")]


def edited(tmp_path: Path, old: str, new: str, name: str = "gas-rate-check") -> Path:
    """Return a copy of a shipped procedure with a line changed."""
    text = (ROOT / "procedures" / f"{name}.yaml").read_text("utf-8")
    assert old in text
    path = tmp_path / f"{name}.yaml"
    path.write_text(text.replace(old, new), "utf-8")
    return path


PROVES = "  - {says: heat input against the rated input, by: [input-verdict]}"


@pytest.mark.parametrize(
    ("by", "what"),
    [
        ("nowhere", "there is no gate 'nowhere'"),
        ("time-the-meter", "time-the-meter only reads, which proves nothing"),
        ("finish", "finish is an end, which proves nothing"),
    ],
)
def test_a_claim_by_no_gate_or_by_one_that_proves_nothing_is_refused(tmp_path: Path, by: str, what: str) -> None:
    """With the line that it stands in."""
    path = edited(tmp_path, PROVES, PROVES.replace("input-verdict", by))
    with pytest.raises(Problem) as caught:
        load_procedure(path)
    assert what in caught.value.sentence()
    line = path.read_text("utf-8").splitlines().index(PROVES.replace("input-verdict", by)) + 1
    assert f":{line}:" in caught.value.sentence()


@pytest.mark.slow("a whole procedure is proven again for each claim")
def test_what_no_way_to_the_finish_can_show_fails_the_proof() -> None:
    """A gate that only ever leads to a stop shows nothing to a visit that finishes."""
    procedure = load_procedure(ROOT / "procedures" / "two-rate-combustion.yaml")
    gates = dict(procedure.gates)
    stopping = gates["final-by-the-manual"]
    gates["final-by-the-manual"] = replace(
        stopping, transitions=dict.fromkeys(stopping.transitions, "stop-no-turn")
    )
    claim = procedure.file.proves[0].model_copy(update={"by": ("final-by-the-manual",)})
    file = procedure.file.model_copy(update={"proves": (claim,)})
    found = check(replace(procedure, gates=gates, file=file)).failed("proves")
    assert [finding.what for finding in found] == ["no visit that finishes can show 'maximum rate as left'"]


def test_a_procedure_that_does_not_say_what_it_is_for_gets_a_remark(tmp_path: Path) -> None:
    """It is proven none the less."""
    path = edited(tmp_path, f"proves:\n{PROVES}\n", "")
    assert check(load_procedure(path)).remarks == (NOTHING_PROVEN,)


SHIPPED = shipped_procedures()


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_shipped_procedure_says_what_it_is_for(path: Path) -> None:
    """That a visit can show it is proven with all else of each, in `tests/procedure/test_proofs.py`."""
    assert load_procedure(path).file.proves
