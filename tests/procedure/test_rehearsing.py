"""Rehearsals for authors: random explorers, typing, and phrases spoken and heard."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.demo.play import scenario_files
from handsfree.procedure.procedure import load_procedure
from handsfree.session.exploring import explore_randomly
from handsfree.shipped import procedure_path
from handsfree.visit.folder import load_plan

DAY = date(2026, 11, 25)


def plan(name: str):
    path = procedure_path(name)
    return load_plan(path, load_procedure(path).trade.example or scenario_files()[0])[0]


def test_explorers_enter_every_gate_of_a_small_procedure_and_nothing_goes_wrong():
    coverage = explore_randomly(plan("extract-ventilation"), DAY, explorers=40)
    assert coverage.faults == []
    assert coverage.entered == set(coverage.procedure.gates)
    assert len(coverage.passed) / len(coverage.transitions) > 0.75
    assert coverage.ends["finished"] > 0


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
    "procedure",
    [
        str(Path(__file__).parents[1] / "commands" / "one-reading.yaml"),
        pytest.param("safe-isolation", marks=pytest.mark.slow("all that is said in a shipped procedure is heard")),
    ],
)
def test_phrases_spoken_in_quiet_are_heard_as_meant(procedure):
    """One synthetic voice in quiet: whatever fails here would fail anyone."""
    result = CliRunner().invoke(app, ["rehearse", procedure, "--aloud"])
    assert "heard as meant, 0 misheard" in result.output
    assert result.exit_code == 0, result.output
