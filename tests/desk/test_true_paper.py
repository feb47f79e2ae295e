"""No sentence of the paper contradicts the record, whatever the end: a second reading of the ledger decides."""

from __future__ import annotations

from pathlib import Path

import pytest
from lists import signed
from random_visits import PROCEDURES, record_random
from reread import Paper, Reread, contradictions

from handsfree.desk.dossier import Dossier, open_dossier
from handsfree.desk.evidence import Evidence
from handsfree.desk.examination import readings, verified
from handsfree.desk.printed import html
from handsfree.desk.record import load
from handsfree.ledger import RecordVerdict, VerificationReport


def paper_of_folder(folder: Path) -> Paper:
    report = VerificationReport(folder, RecordVerdict.CLOSED, "whole", None, (), (), ())
    return Paper(html(Dossier(Evidence(load(folder), report, alike=[]), report)))


@pytest.fixture(autouse=True)
def _state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))


def holds(folder: Path) -> str | None:
    record = Reread(folder)
    assert contradictions(paper_of_folder(folder), record) == []
    return record.outcome


def printed_text(folder: Path) -> str:
    return " ".join(html(open_dossier(folder, alike=[])).split())


def test_a_visit_stopped_at_the_zeroing_gate_claims_nothing(recorded_short: Path) -> None:
    """It was once a "Combustion set-up report" with "Everything asked for was done" and "All 0 alterations"."""
    text = printed_text(recorded_short / "first")
    assert "report" not in text.split("<title>")[1].split(":")[0].lower()
    assert "Everything asked for was done" not in text
    assert "All 0 alterations" not in text
    assert "the technician called stop" in text
    assert "stop-work" not in text
    assert "Never read: " in text


def test_a_visit_stopped_between_two_turns_leaves_nothing(recorded: Path) -> None:
    """It once showed "Maximum, left 8.90", read with a cap off."""
    text = printed_text(recorded / "stopped")
    assert "Maximum, left" not in text
    assert "no value here is a final one" in text
    assert "While read" in text
    evidence = open_dossier(recorded / "stopped", alike=[]).evidence
    assert "left" not in {row["at_time"] for row in readings(evidence)}


def test_a_visit_that_was_not_accepted_says_so_on_page_one(visits: Path) -> None:
    """With the remark, in the zone of the visit."""
    signed(verified(visits / "whole"), "not accepted", "read it again")
    text = printed_text(visits / "whole")
    assert text.index("Not accepted by A. Supervisor") < text.index("For the next colleague")
    assert "Remark: read it again" in text


def test_a_pair_of_passes_outside_at_one_rate_is_not_covered_by_one_within_at_the_other(recorded: Path) -> None:
    """Verdicts that compare readings are told apart by the rates of those."""
    evidence = open_dossier(recorded / "whole", alike=[]).evidence
    agree = [verdict.gate for _, verdict in evidence.verdicts if verdict.calculation == "passes-agree"]
    assert {evidence.judged_for(gate) for gate in agree} == {"maximum", "minimum"}


MANY = pytest.mark.slow("two visits of each are invented and written")
FEW = [
    pytest.param(name, marks=() if name in {"extract-terminal", "safe-isolation"} else MANY) for name in PROCEDURES
]


@pytest.mark.parametrize("name", FEW)
def test_no_sentence_of_a_random_visit_contradicts_its_record(name: str, tmp_path: Path) -> None:
    """Two seeds of each procedure; those of combustion end finished and left as reported."""
    for seed in (1, 3):
        holds(record_random(tmp_path / f"{seed}", name, seed))


LIES = {
    "Report: ": "Stopped work: ",
    "The work was finished on 2026-11-25.": "The visit came to its end without all that it was for.",
    "Everything judged at the end was within the limits used.": "Nothing was judged against a limit.",
    "reported put back (": "reported put back (1",
    "No step was left out.": "Fan serial: no time",
    "Boost running": "",
    "Fan power ": "Fan power 9",
    "No supervisor": "Stop-work: No supervisor",
}


@pytest.mark.parametrize("true", LIES)
def test_a_lie_planted_in_the_paper_is_found(true: str, tmp_path: Path) -> None:
    """So that the tests above can fail."""
    folder = record_random(tmp_path / "visit", "extract-ventilation", 1)
    record, text = Reread(folder), printed_text(folder)
    assert true in text
    assert contradictions(Paper(text), record) == []
    assert contradictions(Paper(text.replace(true, LIES[true])), record) != []


@pytest.mark.parametrize("most", [40, 150])
def test_a_visit_that_is_not_closed_is_told_as_that(most: int, tmp_path: Path) -> None:
    """Cut off after so many events."""
    assert holds(record_random(tmp_path / "cut", "split-cooling-charge", 5, most)) is None


@pytest.mark.slow("twenty visits of each small procedure and eight of combustion are invented and written")
@pytest.mark.parametrize("name", PROCEDURES)
def test_no_sentence_of_many_random_visits_contradicts_their_records(name: str, tmp_path: Path) -> None:
    """They come to at least two kinds of end together, or it says little."""
    seeds = range(100, 108) if name == "two-rate-combustion" else range(100, 120)
    ends = {holds(record_random(tmp_path / f"{seed}", name, seed)) for seed in seeds}
    assert ends
