"""Replay, report and the commands: the same story on the terminal, as PDF and as HTML."""

import io
import json

import duckdb
import pytest
from invented_visits import record_visit
from pypdf import PdfReader
from reportlab.platypus import Spacer
from typer.testing import CliRunner

from handsfree.commands.supervising import app
from handsfree.desk import chart, printed
from handsfree.desk import pdf as setting
from handsfree.desk.dossier import open_dossier
from handsfree.desk.evidence import Evidence
from handsfree.desk.examination import readings
from handsfree.problem import Problem

run = CliRunner().invoke


@pytest.fixture(scope="module")
def dossier(recorded):
    """What the desk knows of the whole visit."""
    return open_dossier(recorded / "whole")


def pdf_text(path):
    pages = PdfReader(io.BytesIO(path.read_bytes())).pages
    return len(pages), " ".join(" ".join(page.extract_text().split()) for page in pages)


def test_the_report_holds_what_a_customer_is_owed(visits, dossier, tmp_path):
    """Before/after, instrument, uncertainty, source, seal and cautions, on at most two pages."""
    assert run(app, ["report", str(visits / "whole"), "-o", str(tmp_path / "r.pdf")]).exit_code == 0
    pages, text = pdf_text(tmp_path / "r.pdf")
    report = dossier.report
    assert pages <= 2
    for words in (
        "Maximum, found", "FG2209", "until 2027-06-30", "9.20 ± 0.31, limits 8.9 to 9.9",
        "page 41, revision invented A", "Cautions",
        report.head.checksum, "licence invented 12345", "The work was finished", "No step was left out",
        "No supervisor has given a verdict",
    ):  # fmt: skip
        assert words in text, words
    assert "WARNING" not in text


def test_a_stopped_visit_bears_a_warning_notice(visits, tmp_path):
    """With what is still altered."""
    run(app, ["report", str(visits / "stopped"), "-o", str(tmp_path / "r.pdf")])
    _, text = pdf_text(tmp_path / "r.pdf")
    assert "WARNING NOTICE DUE" in text
    assert "Probe inserted" in text


def test_a_report_on_a_tampered_record_says_so_and_fails(visits, tmp_path):
    """The exit code is 1, and the first sentence tells it."""
    found = run(app, ["report", str(visits / "tampered"), "-o", str(tmp_path / "r.html")])
    assert found.exit_code == 1
    assert "DOES NOT VERIFY" in (tmp_path / "r.html").read_text()


def test_no_heading_of_a_paper_stands_alone_at_the_foot_of_a_page():
    """ "Put back" once did; wherever its part begins, the first line of what it is about is on the same page."""
    for above in range(640, 740, 4):
        story = [Spacer(0, above), *setting.part("Put back", [setting.say("Everything was.")])]
        pages = PdfReader(io.BytesIO(setting.document("Paper", "foot", story))).pages
        (page,) = [text for text in (page.extract_text() for page in pages) if "Put back" in text]
        assert "Everything was." in page, above


def test_a_paper_is_for_somebody_who_knows_no_symbols_of_uncertainty(dossier):
    """It once told a customer "u = 0.1515", and named "common practice, no source" as where a limit comes from."""
    pages = PdfReader(io.BytesIO(printed.pdf(dossier))).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "u = " not in text
    assert "no source" not in text
    sources = {one for _, verdict in dossier.evidence.final_verdicts for one in verdict.sources}
    assert any("common practice, no source" in one for one in sources)
    assert "practice of the trade, not published" in text


def test_no_report_ever_says_safe(visits, tmp_path):
    """The word is not ours to say."""
    for name in ("whole", "stopped"):
        run(app, ["report", str(visits / name), "-o", str(tmp_path / f"{name}.html")])
        text = (tmp_path / f"{name}.html").read_text().lower().replace("make-safe", "")
        assert " safe" not in text


@pytest.mark.parametrize("name", ["r.doc", "r"])
def test_another_kind_of_file_is_refused(visits, tmp_path, name):
    """One sentence, no file."""
    found = run(app, ["report", str(visits / "whole"), "-o", str(tmp_path / name)])
    assert isinstance(found.exception, Problem)


def test_a_file_that_is_there_is_not_overwritten(visits, tmp_path):
    """Name a new one."""
    (tmp_path / "r.pdf").write_text("mine")
    found = run(app, ["report", str(visits / "whole"), "-o", str(tmp_path / "r.pdf")])
    assert "exists already" in str(found.exception)
    assert (tmp_path / "r.pdf").read_text() == "mine"


def test_replay_tells_the_talk_and_the_list(visits):
    """Every line of the list, and what tool and person said."""
    found = run(app, ["replay", str(visits / "whole"), "--json"])
    told = json.loads(found.stdout)
    assert len(told["list"]) == 8
    assert told["seal"]["ok"]
    assert {line["who"] for line in told["talk"]} == {"tool", "person", "event"}
    text = run(app, ["replay", str(visits / "whole"), "--no-talk"]).stdout
    assert "Both rates, in order, settled: pass" in " ".join(text.split())


def test_replay_of_a_tampered_record_fails(visits):
    """Exit code 1."""
    assert run(app, ["replay", str(visits / "tampered"), "--no-talk"]).exit_code == 1


def test_across_prints_csv_or_writes_parquet(short, tmp_path):
    """One header, one row a technician; the copy counts once. A file that is there is not overwritten."""
    asked = ["across", str(short), "right-first-time"]
    lines = run(app, asked).stdout.splitlines()
    file = tmp_path / "answer.parquet"
    assert run(app, [*asked, "--parquet", str(file)]).stdout == ""
    (row,) = duckdb.sql(f"SELECT technician, visits FROM read_parquet('{file}')").fetchall()
    assert [str(cell) for cell in row] == lines[1].split(",")[:2]
    assert "this file exists already" in str(run(app, [*asked, "--parquet", str(file)]).exception)
    assert lines[0].startswith("technician,visits,ended,right,right_percent")
    assert lines[1].startswith("Ines Demoville,")


def test_an_analyser_that_works_co2_out_is_left_out_of_those_that_disagree(dossier, monkeypatch):
    """Its pairs agree by themselves: they say nothing of it."""
    evidence = dossier.evidence
    assert "pair_residual" in {row["quantity"] for row in readings(evidence)}
    told = Evidence.sheet
    monkeypatch.setattr(
        Evidence, "sheet", lambda self, path: "computed" if path == "job.instrument.co2" else told(self, path)
    )
    found = {row["quantity"] for row in readings(evidence)}
    assert "pair_residual" not in found
    assert found >= {"co2", "o2"}


@pytest.mark.slow("records are verified by programs of their own")
def test_receive_says_what_became_of_each(short, tmp_path):
    """And fails when one does not verify."""
    found = run(app, ["receive", str(short), str(tmp_path / "here")])
    assert found.exit_code == 1
    assert "taken in, but it does not verify" in found.stdout


def test_the_chart_shows_every_flue_reading_and_every_turn(dossier):
    """Counted against the events themselves."""
    evidence = dossier.evidence
    drawn = chart.draw(evidence)
    co2 = [event for _, event in evidence.readings if event.reading.quantity == "co2"]
    assert len(drawn.plots[0].points) == len(co2)
    assert len(drawn.turns) == len(evidence.turns) > 0
    assert len({lane for _, lane in drawn.lanes}) == len({span.said for span in evidence.alterations}) + 1


def test_a_part_of_the_visit_shows_only_what_lies_in_it(dossier):
    """Nothing is drawn outside the frame."""
    evidence = dossier.evidence
    title, begin, end = chart.phases(evidence)[0]
    drawn = chart.draw(evidence, begin, end)
    assert title == "As found at maximum"
    points = [point for plot in drawn.plots for point in plot.points]
    assert points
    assert all(drawn.left <= point.x <= drawn.width - drawn.right for point in points)
    assert len(points) < len([p for plot in chart.draw(evidence).plots for p in plot.points])


def test_what_was_advised_stands_on_the_paper_in_its_own_words(tmp_path, monkeypatch):
    """As it was typed, under a heading of its own; what is spoken is kept as sound and said to be."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))

    def answer(kind, gate):
        advised = gate in {"wiring", "electrode"}
        return {"choice": "advised", "finding": "a clip is loose"}.get(kind) if advised else None

    folder = record_visit(tmp_path / "advised", answer=answer, stop_at="trap")
    run(app, ["report", str(folder), "-o", str(tmp_path / "r.pdf")])
    _, text = pdf_text(tmp_path / "r.pdf")
    assert "Found and advised" in text
    assert "Wiring: advised, " in text
    assert "Ignition and flame electrode: advised, " in text
    assert "a clip is loose" in text or text.count("kept as sound") >= 2
    run(app, ["report", str(folder), "-o", str(tmp_path / "r.html")])
    assert "Found and advised" in (tmp_path / "r.html").read_text()
