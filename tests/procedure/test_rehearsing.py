"""Rehearsals for authors: random explorers, typing, and phrases spoken and heard."""

from __future__ import annotations

import shutil
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.demo.play import scenario_files
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.template import template
from handsfree.procedure.ways import ways
from handsfree.session.around_limits import around_limits
from handsfree.session.exploring import explore_randomly
from handsfree.shipped import procedure_path
from handsfree.visit.folder import load_plan

DAY = date(2026, 11, 25)


def plan(name: str):
    path = procedure_path(name)
    return load_plan(path, load_procedure(path).trade.example or scenario_files()[0])[0]


@pytest.mark.slow("many visits")
def test_explorers_enter_every_gate_of_a_small_procedure_and_nothing_goes_wrong():
    coverage = explore_randomly(plan("extract-ventilation"), DAY, explorers=40)
    assert coverage.faults == []
    assert coverage.entered == set(coverage.procedure.gates)
    assert coverage.transitions == coverage.passed & coverage.transitions
    assert coverage.ends["finished"] > 0


PRESSED = """\
handsfree: 2
procedure: pressed
title: Pressed
purpose: A pressure far from the usual one.
gates:
  - {id: read, kind: readings, title: Pressure, source: a test, prompt: "Pressure?",
     ask: [{quantity: water_pressure}], point: water}
  - {id: judged, kind: verdict, title: Judged, source: a test,
     calculation: reading-in-limits, using: {readings: water},
     limits: {quantity: water_pressure, low: 9, high: 9.8, source: a test},
     branches: {within: finish, too-close: finish, outside: stop, missing: stop}}
  - {id: finish, kind: finish, title: Finish, source: a test}
  - {id: stop, kind: stop, title: Stop, source: a test, script: Boiler off.}
"""
"""The usual water pressure is 1.5 bar: only the gate's own limits tell of 9."""


def pressed(tmp_path: Path) -> Path:
    path = tmp_path / "pressed.yaml"
    path.write_text(PRESSED, encoding="utf-8")
    return path


def test_explorers_call_values_inside_on_the_edges_of_and_outside_a_gates_own_limits(tmp_path: Path):
    made = load_plan(pressed(tmp_path), scenario_files()[0])[0]
    around = around_limits(made, made.gate("read"), "water_pressure")
    assert 9 < around.inside < Decimal("9.8")
    assert {Decimal(edge) for edge in ("9.0", "8.9", "9.8", "9.9")} <= set(around.odd)
    coverage = explore_randomly(made, DAY, explorers=8)
    assert {("judged", "within"), ("judged", "outside"), ("judged", "missing")} <= coverage.passed


@pytest.mark.parametrize(
    ("trade", "was", "now"),
    [
        ("ventilation", "low: 8, source", "low: 150, source"),
        ("cooling", "low: 6, high: 11", "low: 24, high: 26"),
        ("plumbing", "low: 50, source", "low: 90, source"),
    ],
)
def test_explorers_meet_and_miss_limits_far_from_the_usual_in_every_trade(
    trade: str, was: str, now: str, tmp_path: Path
):
    """Nothing is known of a trade but its data: limits that its usual value misses are met all the same."""
    text = template("far-off", trade)
    assert was in text
    path = tmp_path / "far-off.yaml"
    path.write_text(text.replace(was, now), encoding="utf-8")
    made = load_plan(path, load_procedure(path).trade.example)[0]
    (judges,) = (gate for gate, placed in made.procedure.gates.items() if placed.gate.effects.judges)
    coverage = explore_randomly(made, DAY, explorers=4)
    assert {(judges, "within"), (judges, "outside"), (judges, "missing")} <= coverage.passed


def test_explorers_fail_below_the_share_of_ways_that_is_asked_for(tmp_path: Path):
    path = pressed(tmp_path)
    asked = ["rehearse", str(path), "--random", "8", "--day", "2026-11-25", "--ways", "100"]
    assert CliRunner().invoke(app, asked).exit_code == 0
    path.write_text(
        PRESSED.replace("point: water}", "point: water, at_most: 3, exhausted: stop}"), encoding="utf-8"
    )
    result = CliRunner().invoke(app, asked)
    assert result.exit_code == 1
    assert "never left read by: exhausted" in result.output
    assert "% of the ways, 100 % are asked for" in result.output


def test_a_value_is_too_close_to_a_limit_only_where_its_gate_gives_an_accuracy(tmp_path: Path):
    """JCGM 106:2012, 8.2: without an uncertainty no value lies between, so no branch is asked for or counted."""
    path = pressed(tmp_path)
    exact = load_procedure(path)
    assert check(exact).findings == ()
    assert ("judged", "too-close") not in ways(exact)
    path.write_text(PRESSED.replace("too-close: finish, ", ""), encoding="utf-8")
    assert check(load_procedure(path)).findings == ()
    path.write_text(PRESSED.replace("low: 9,", "low: 9, accuracy: 0.2,"), encoding="utf-8")
    made = load_plan(path, scenario_files()[0])[0]
    assert ("judged", "too-close") in ways(made.procedure)
    assert ("judged", "too-close") in explore_randomly(made, DAY, explorers=8).passed
    path.write_text(path.read_text("utf-8").replace("too-close: finish, ", ""), encoding="utf-8")
    assert [one.what for one in check(load_procedure(path)).findings if "too-close" in one.what]


@pytest.mark.parametrize(
    ("script", "code", "says"),
    [
        ("- blah\n- blah blah\n", 1, "nothing that it says was understood"),
        ("- one point five\n- blah\n", 0, ""),
        ("- wait: soon\n", 2, "a wait is a number of seconds"),
        ("- [one, five]\n", 2, "this is no step"),
    ],
)
def test_a_script_that_tries_nothing_fails(tmp_path: Path, script: str, code: int, says: str):
    file = tmp_path / "script.yaml"
    file.write_text(script, encoding="utf-8")
    result = CliRunner().invoke(app, ["rehearse", str(pressed(tmp_path)), "--script", str(file)])
    told = result.exception
    assert (told.code if isinstance(told, Problem) else result.exit_code) == code
    assert says in str(told or "")


def test_explorers_break_a_wait_off_where_it_may_be():
    coverage = explore_randomly(plan("outlet-temperature"), DAY, explorers=6)
    assert ("run", "not done") in coverage.passed
    assert coverage.faults == []


@pytest.mark.slow("explorers walk a whole shipped procedure")
def test_explorers_come_far_in_the_whole_visit():
    coverage = explore_randomly(plan("two-rate-combustion"), DAY, explorers=5)
    assert coverage.faults == []
    assert len(coverage.entered) / len(coverage.procedure.gates) > 0.7


def test_the_same_seed_explores_alike():
    first, second = (explore_randomly(plan("extract-ventilation"), DAY, 3, seed=7) for _ in range(2))
    assert (first.passed, first.ends) == (second.passed, second.ends)


def test_coverage_is_printed_with_what_was_never_taken():
    result = CliRunner().invoke(app, ["rehearse", "extract-ventilation", "--random", "2", "--day", "2026-11-25"])
    assert result.exit_code == 0, result.output
    assert "gates entered" in result.output
    assert "of 42" in result.output


def test_typing_leads_through_gates_until_quit():
    typed = "the same\nnone at all\nquit\n"
    result = CliRunner().invoke(app, ["rehearse", "extract-ventilation", "--day", "2026-11-25"], input=typed)
    assert result.exit_code == 0, result.output
    assert "Fan, ducts, discharge outside: in order, or faulty?" in result.output


@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng is not installed")
@pytest.mark.parametrize(
    "asked",
    [
        [str(Path(__file__).parents[1] / "commands" / "one-reading.yaml"), "--no-third-opinion"],
        pytest.param(["safe-isolation"], marks=pytest.mark.slow("all that a shipped procedure hears is spoken")),
    ],
)
def test_phrases_spoken_in_quiet_are_heard_as_meant(asked):
    """One synthetic voice in quiet: whatever fails here would fail anyone."""
    result = CliRunner().invoke(app, ["rehearse", *asked, "--aloud"])
    assert "heard as meant, 0 misheard" in result.output
    assert result.exit_code == 0, result.output
