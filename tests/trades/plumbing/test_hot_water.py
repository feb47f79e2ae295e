"""A hot-water system: up to heat, stood hot for half an hour, read at every outlet, judged by published limits.

The limits are those of HSG274 part 2 (2014), "Legionnaires' disease: the control of legionella bacteria in hot and
cold water systems": stored at 60 °C or above, 50 °C at an outlet within a minute, 50 °C at the return;
from memory.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from handsfree.events import decisions as ev
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.sheets import load_sheets
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal

ROOT = Path(__file__).parents[3]
PROCEDURE = ROOT / "procedures" / "hot-water-profile.yaml"
SHEET = ROOT / "handsfree" / "trades" / "plumbing" / "example"
DAY = date(2026, 11, 28)
UP_TO_HEAT = ("the same", "users told", "hung up", "fifty five", "raised", "six three point zero")
PUT_BACK = ("fifty five", "confirmed", "taken down", "confirmed", "told", "confirmed")


def job_sheet(folder: Path, shows: str = "") -> Path:
    """Return a copy of the example's sheets, its thermometer showing another unit where one is given."""
    (folder / "heater.yaml").write_text((SHEET / "heater.yaml").read_text("utf-8"), "utf-8")
    path = folder / "jobsheet.yaml"
    text = (SHEET / "jobsheet.yaml").read_text("utf-8")
    path.write_text(text.replace('"2027-06-30"}', f'"2027-06-30"{shows}}}'), "utf-8")
    return path


def visit(folder: Path, shows: str = "") -> Rehearsal:
    sheets, _ = load_sheets(job_sheet(folder, shows))
    return Rehearsal(Plan(load_procedure(PROCEDURE), sheets).check(), DAY)


def say(visit: Rehearsal, *words: str) -> None:
    """Answer one question after the other; read-backs of values are confirmed."""
    for one in words:
        visit.until_asking()
        visit.say(one)
        visit.until_asking()
        if visit.state.question.kind == "read-back":
            visit.say("confirmed")
        visit.until_asking()


def outlet(temperature: str) -> tuple[str, ...]:
    return ("running", temperature, "closed", "confirmed")


def verdicts(visit: Rehearsal) -> dict[str, str]:
    return {event.gate: event.outcome for event in visit.events if isinstance(event, ev.VerdictGiven)}


def passed(visit: Rehearsal, gate: str) -> list[int]:
    return [event.at for event in visit.events if isinstance(event, ev.GatePassed) and event.gate == gate]


def entered(visit: Rehearsal, gate: str) -> list[int]:
    return [event.at for event in visit.events if isinstance(event, ev.GateEntered) and event.gate == gate]


def test_three_outlets_are_read_after_the_store_stood_hot(tmp_path: Path) -> None:
    """Half an hour and a minute each have truly passed; everything is put back, and the visit finishes."""
    done = visit(tmp_path)
    say(
        done,
        *UP_TO_HEAT,
        *outlet("five three point five"),
        *outlet("five one point zero"),
        *outlet("five two point zero"),
    )
    say(done, "five four point zero", *PUT_BACK)
    assert done.over, (done.state.gate, done.state.text)
    assert (done.state.outcome, done.state.altered) == ("finished", {})
    assert passed(done, "stood-hot")[0] - entered(done, "stood-hot")[0] >= 1_800_000
    for item in ("kitchen", "bath", "shower"):
        assert passed(done, f"outlets/{item}/run")[0] - entered(done, f"outlets/{item}/run")[0] >= 60_000
        assert verdicts(done)[f"outlets/{item}/outlet-verdict"] == "within"


def test_a_store_that_is_too_cool_heats_on_before_it_stands(tmp_path: Path) -> None:
    done = visit(tmp_path)
    say(done, *UP_TO_HEAT[:-1], "five four point five")
    assert done.state.gate == "store"
    assert passed(done, "heats-up")[0] - entered(done, "heats-up")[0] >= 900_000
    say(done, "six zero point five")
    assert passed(done, "stood-hot")


def test_an_outlet_that_is_too_cool_stops_the_visit_once_all_are_read(tmp_path: Path) -> None:
    """The profile is whole, setting and signs are back, and the visit does not finish."""
    done = visit(tmp_path)
    say(
        done,
        *UP_TO_HEAT,
        *outlet("four four point five"),
        *outlet("five three point zero"),
        *outlet("five two point zero"),
    )
    say(done, "five four point zero", *PUT_BACK[:-2])
    assert verdicts(done)["outlets/kitchen/outlet-verdict"] == "outside"
    assert {"outlets/bath/outlet-verdict", "outlets/shower/outlet-verdict"} <= set(verdicts(done))
    assert (done.state.status, done.state.gate, done.state.altered) == ("stopped", "stop-outlet", {})


def test_a_thermometer_that_shows_fahrenheit_is_read_as_it_shows(tmp_path: Path) -> None:
    """122 degF is 50 Cel exactly: (122 - 32) * 5/9. It is within; 121 degF is not."""
    for called, outcome in (("one two two", "within"), ("one two one", "outside")):
        folder = tmp_path / called.replace(" ", "")
        folder.mkdir()
        done = visit(folder, ', shows: {Cel: "[degF]"}')
        say(done, *UP_TO_HEAT[:3], "one three one", "raised", "one four five", "running", called)
        assert verdicts(done)["outlets/kitchen/outlet-verdict"] == outcome
        taken = [one.reading for one in done.events if isinstance(one, ev.ReadingAccepted)][-1]
        assert (taken.called, taken.called_unit, taken.unit) == (called_digits(called), "[degF]", "Cel")


def called_digits(words: str) -> str:
    return "".join({"one": "1", "two": "2"}[word] for word in words.split())


def test_an_outlet_that_was_not_read_leaves_the_visit_incomplete(tmp_path: Path) -> None:
    """Its claim is one of its own, and is named."""
    done = visit(tmp_path)
    say(
        done,
        *UP_TO_HEAT,
        *outlet("five three point five"),
        "not done because it is locked",
        *outlet("five two point zero"),
    )
    say(done, "five four point zero", *PUT_BACK)
    assert done.over, (done.state.gate, done.state.text)
    assert done.state.outcome == "incomplete"
    assert [one.what for one in done.state.lacking] == ["outlet temperature, bath"]


@pytest.mark.parametrize(
    ("words", "begins"),
    [("i am scalded", "Close the outlet."), ("the relief valve is blowing", "Heater off from outside.")],
)
def test_its_own_dangers_are_answered_for_it(tmp_path: Path, words: str, begins: str) -> None:
    """Also while it waits, when nothing is asked."""
    done = visit(tmp_path)
    say(done, *UP_TO_HEAT)
    done.say("running")
    assert done.state.question.kind == "waiting"
    done.say(words)
    assert done.state.status == "stopped"
    (stopped,) = (one for one in done.events if isinstance(one, ev.Stopped))
    assert stopped.script.startswith(begins)


def test_a_verdict_on_the_same_readings_is_the_same_the_second_time(tmp_path: Path) -> None:
    """The end's verdict stands for the first, so the proofs need no other way; read anew it does not."""
    for name in ("hot-water-profile", "outlet-temperature"):
        (tmp_path / f"{name}.yaml").write_text((ROOT / "procedures" / f"{name}.yaml").read_text("utf-8"), "utf-8")
    path = tmp_path / "hot-water-profile.yaml"
    assert check(load_procedure(path)).proven
    again = """\
  - id: kitchen-again
    kind: readings
    title: Kitchen read again
    source: common practice, no source
    prompt: "Outlet temperature?"
    ask: [{quantity: outlet_temperature}]
    point: kitchen

  - id: kitchen-at-the-end
"""
    text = path.read_text("utf-8").replace("  - id: kitchen-at-the-end\n", again, 1)
    path.write_text(
        text.replace(
            "within: kitchen-at-the-end, too-close: kitchen-at-the-end",
            "within: kitchen-again, too-close: kitchen-again",
        ).replace("missing: kitchen-at-the-end", "missing: kitchen-again"),
        "utf-8",
    )
    failed = check(load_procedure(path)).failed("resolved")
    assert [one.gate for one in failed] == ["finish"]
    assert "kitchen" in failed[0].what
