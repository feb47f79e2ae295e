"""Recorded visits serve the authors: their path is drawn, and a changed procedure is held against them."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.commands.recorded import stays_of, visits_differently
from handsfree.demo.play import scenario_files
from handsfree.documents import Document, parse_document, read_document
from handsfree.events import inputs as inp
from handsfree.problem import Problem
from handsfree.procedure.drawing import svg
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.shipped import procedure_path
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder

ISOLATION = procedure_path("safe-isolation")
WORDS = ("told", "at rest", "isolated", "fitted", "closed", "proven", "voltage present")


@pytest.fixture
def visits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with one visit, stopped when voltage was found."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("HOME", str(tmp_path))
    plan, kept = load_plan(ISOLATION, scenario_files()[0])
    recorder, _ = Recorder.begin(tmp_path / "visits" / "one", plan, kept)
    at = 1_000
    for said in WORDS:
        recorder.take(inp.SpeechEnded(at=at))
        recorder.take(inp.Typed(at=at + 5_000, text=said))
        at += 10_000
    recorder.release()
    return tmp_path / "visits"


def changed(old: str, new: str) -> Procedure:
    """Return the isolation with one of its files changed: it includes the part where power is proven dead."""
    hits = []

    def read(path: Path) -> Document:
        text = path.read_text("utf-8")
        hits.append(text.count(old))
        return parse_document(text.replace(old, new), str(path)) if old in text else read_document(path)

    procedure = load_procedure(ISOLATION, read)
    assert sum(hits) == 1
    return procedure


def test_the_path_walked_is_drawn_with_its_times(visits: Path) -> None:
    procedure = load_procedure(ISOLATION)
    stays = stays_of(visits / "one", procedure)
    assert [stay.gate for stay in stays][:3] == ["people-told", "normal-shut-down", "power-isolated"]
    assert stays[1].seconds == pytest.approx(10.0)
    assert stays[-1].gate == "stop-voltage"
    assert "0:10" in svg(procedure, stays)


def test_the_same_procedure_leads_a_visit_alike(visits: Path) -> None:
    assert visits_differently(visits, load_procedure(ISOLATION)) == ["one: goes alike (8 gates passed)"]


def test_a_changed_transition_is_seen_in_the_visit_that_took_it(visits: Path) -> None:
    new = changed(
        "voltage: {heard: [voltage present], then: stop-voltage}",
        "voltage: {heard: [voltage present], then: stop-not-proven}",
    )
    (line,) = visits_differently(visits, new)
    assert "stop-voltage" in line
    assert "stop-not-proven" in line


def test_a_changed_phrase_leaves_the_visit_standing(visits: Path) -> None:
    (line,) = visits_differently(visits, changed("done: [told]", "done: [everyone told]"))
    assert "would still stand" in line


def test_another_procedures_visit_is_not_drawn(visits: Path) -> None:
    with pytest.raises(Problem, match="this is a visit of safe-isolation"):
        stays_of(visits / "one", load_procedure(procedure_path("gas-rate-check")))


def test_a_folder_without_visits_is_said(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="no visit under"):
        visits_differently(tmp_path, load_procedure(ISOLATION))
