"""A visit that ended without what it was for is told as left incomplete: list, page, report, screen, last line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from agreeing_visits import record
from typer.testing import CliRunner

from handsfree.commands.supervising import app
from handsfree.desk import outcome
from handsfree.desk.dossier import Dossier, open_dossier
from handsfree.desk.ending import StopTold
from handsfree.desk.ending_words import stop_lines
from handsfree.desk.examination import examine
from handsfree.desk.lines import happening
from handsfree.desk.paper import paper_of
from handsfree.events.state import State
from handsfree.glance.notes import Notes
from handsfree.glance.view import glance
from handsfree.procedure.trades import trade_data
from handsfree.session.apply import after
from handsfree.shipped import procedure_path

WHY = "air flow against the design (no reading)"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The visit of one terminal whose hood showed dashes."""
    sheet = trade_data("ventilation").example
    assert sheet is not None
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(tmp_path_factory.mktemp("state")))
        into = tmp_path_factory.mktemp("terminal") / "visit"
        return record(into, procedure_path("extract-terminal"), Path(sheet), {"air_flow": "dashes"})


@pytest.fixture(scope="module")
def dossier(folder: Path) -> Dossier:
    """What the desk knows of it."""
    return open_dossier(folder)


def test_the_desk_and_the_customer_read_that_it_was_left_incomplete(dossier: Dossier) -> None:
    """The sentence, the title, the list of what was not done, what to look at first."""
    assert f"Left incomplete: {WHY}" in dossier.sentence
    report = paper_of(dossier)
    assert report.title == "Incomplete visit: Air flow of one terminal"
    assert report.in_short[0] == "The visit came to its end without all that it was for."
    assert report.in_short[1] == f"Not shown on this visit: {WHY}."
    assert "Air flow: the display showed no value" in report.not_done
    first = dossier.notables[0]
    assert (first.kind, first.says) == ("Left incomplete", "air flow against the design: no reading")
    last = dossier.evidence.recorded.steps[-1]
    assert happening(dossier.evidence.recorded, last) == (f"Visit closed, left incomplete: {WHY}", "odd")
    assert "Finished" not in outcome.sentence(dossier.evidence)


def test_the_list_has_it_as_incomplete(folder: Path) -> None:
    """The column that is searched."""
    assert examine(folder).facts["outcome"] == "incomplete"


def test_the_printed_report_says_so(folder: Path, tmp_path: Path) -> None:
    """And never that all was done."""
    CliRunner().invoke(app, ["report", str(folder), "-o", str(tmp_path / "r.html")])
    text = (tmp_path / "r.html").read_text("utf-8")
    assert "Incomplete visit" in text
    assert "was finished" not in text
    assert "No step was left out" not in text


def test_the_screen_ends_with_it(dossier: Dossier) -> None:
    """Banner and headline."""
    recorded = dossier.evidence.recorded
    assert recorded.plan is not None
    state = after(recorded.plan, State(), (step.event for step in recorded.steps))
    picture = glance(recorded.plan, state, state.now, Notes())
    assert (picture.condition, picture.banner) == ("incomplete", "LEFT INCOMPLETE")
    assert picture.headline == "Left incomplete: air flow against the design, no reading."


def test_stops_that_came_again_and_again_are_one_line() -> None:
    """A paper once listed the same stop of an unsteady rate on three pages."""
    first = StopTold("rate not steady", "Full load", "Wait.", 5, 60_000, resumed="the rate was steady")
    again = [replace(first, seq=seq, at=seq * 60_000) for seq in (6, 7)]
    last = replace(first, seq=9, at=540_000, resumed="")
    assert stop_lines([first, *again, last]) == [
        "1:00 to 7:00, 3 times, at “Full load”: rate not steady. The work went on: the rate was steady.",
        "9:00, at “Full load”: rate not steady. The work did not go on.",
    ]
