"""No sentence of the paper contradicts the record, whatever the end: a second reading of the ledger decides."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from lists import signed
from random_visits import PROCEDURES, Crying, Usual, record_random
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


def test_a_visit_that_was_not_accepted_says_so_on_page_one(short: Path) -> None:
    """With the remark, in the zone of the visit."""
    signed(verified(short / "first"), "not accepted", "read it again")
    text = printed_text(short / "first")
    assert text.index("Not accepted by A. Supervisor") < text.index("For the next colleague")
    assert "Remark: read it again" in text


def test_a_pair_of_passes_outside_at_one_rate_is_not_covered_by_one_within_at_the_other(recorded: Path) -> None:
    """Verdicts that compare readings are told apart by the rates of those."""
    evidence = open_dossier(recorded / "whole", alike=[]).evidence
    agree = [verdict.gate for _, verdict in evidence.verdicts if verdict.calculation == "passes-agree"]
    assert {evidence.judged_for(gate) for gate in agree} == {"maximum", "minimum"}


@pytest.mark.parametrize("name", ["extract-terminal", "safe-isolation"])
def test_no_sentence_of_a_random_visit_contradicts_its_record(name: str, tmp_path: Path) -> None:
    """Two seeds of each, one of somebody who calls stops; the slow test below has many of every procedure."""
    for seed, explorers in ((1, Usual), (103, Crying)):
        holds(record_random(tmp_path / f"{seed}", name, seed, explorers=explorers))


LIES = {
    "Report: ": "Stopped work: ",
    "The work was finished on 2026-11-25.": "The visit came to its end without all that it was for.",
    "Everything judged at the end was within the limits used.": "Nothing was judged against a limit.",
    "reported put back (": "reported put back (1",
    "No step was left out.": "Fan serial: no time",
    "Boost running": "",
    "Fan power ": "Fan power 9",
    "No supervisor": "Stop-work: No supervisor",
    "The work was stopped at the step": "At the step",
    "it was misheard.</p>": "it was no call to stop.</p>",
    "the technician called stop. It went on": "somebody felt ill. It went on",
}


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Reread, str]:
    """The record of a visit whose person took a stop back, and its paper."""
    root = tmp_path_factory.mktemp("told")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(root / "state"))
        folder = record_random(root / "visit", "extract-ventilation", 2, explorers=Crying)
    return Reread(folder), printed_text(folder)


@pytest.mark.parametrize("true", LIES)
def test_a_lie_planted_in_the_paper_is_found(true: str, told: tuple[Reread, str]) -> None:
    """So that the tests above can fail."""
    record, text = told
    assert true in text
    assert contradictions(Paper(text), record) == []
    assert contradictions(Paper(text.replace(true, LIES[true])), record) != []


def test_page_one_tells_of_each_stop_that_was_taken_back(told: tuple[Reread, str]) -> None:
    """A visit whose stop was called misheard once began as calmly as any other."""
    record, text = told
    first, second, third, *_ = Paper(text).sections[""]
    assert first.startswith("The work was finished on ")
    assert re.fullmatch(
        "The work was stopped at the step “.+”: the technician called stop. "
        "It went on, since the technician said that it was misheard.",
        second,
    )
    assert "It went on" not in third
    assert len(record.stops) == 2


@pytest.mark.parametrize("most", [40, 150])
def test_a_visit_that_is_not_closed_is_told_as_that(most: int, tmp_path: Path) -> None:
    """Cut off after so many events."""
    assert holds(record_random(tmp_path / "cut", "split-cooling-charge", 5, most)) is None


@pytest.mark.slow("twelve visits of each small procedure and six of combustion are invented and written")
@pytest.mark.parametrize("name", PROCEDURES)
def test_no_sentence_of_many_random_visits_contradicts_their_records(name: str, tmp_path: Path) -> None:
    """Every second is of somebody who calls stops; they come to at least two kinds of end, or it says little."""
    ends = {
        holds(record_random(tmp_path / f"{seed}", name, seed, explorers=Crying if seed % 2 else Usual))
        for seed in range(100, 106 if name == "two-rate-combustion" else 112)
    }
    assert len(ends) > 1
