"""Maker's data that two people hold against the manual and sign; a version that is withdrawn leads no visit."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.bundles.sheet_check import check_file
from handsfree.commands.app import app
from handsfree.commands.sheet_signing import figures
from handsfree.desk.customer import customers_page
from handsfree.desk.dossier import open_dossier
from handsfree.desk.paper import paper_of
from handsfree.documents import read_document
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.office.enrolling import add, begin
from handsfree.office.enrolment import NAME, Role
from handsfree.office.kept_key import make_key
from handsfree.problem import ExitCode, Problem
from handsfree.procedure.sheets import read_appliance_sheet
from handsfree.shipped import procedure_path
from handsfree.trades.sheets import ApplianceSheet
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder
from handsfree.visit.sheet_standing import sheet_standing

MAKERS = Path(__file__).parents[2] / "handsfree" / "demo" / "appliance-24.yaml"
PEOPLE = {"writer": Role.AUTHOR, "second": Role.AUTHOR, "boss": Role.SUPERVISOR}


@pytest.fixture
def sheet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo's sheet with a version, and an office that knows two authors and a supervisor."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    office = make_key_of(tmp_path, "office")
    begin(tmp_path / "state" / NAME, office, "The office of Larkmoor")
    for name, role in PEOPLE.items():
        key = make_key_of(tmp_path, name).public
        add(tmp_path / "state" / NAME, office, key=key, name=name, role=role, valid_from=BEFORE_THE_PROGRAM)
    file = tmp_path / "larkmoor-24.yaml"
    text = MAKERS.read_text("utf-8")
    file.write_text(text.replace("manual:", "version: 1.0.0\nmanual:", 1), "utf-8")
    shutil.copy(MAKERS.with_name("jobsheet.yaml"), tmp_path)
    job = (tmp_path / "jobsheet.yaml").read_text("utf-8")
    (tmp_path / "jobsheet.yaml").write_text(job.replace(MAKERS.name, file.name), "utf-8")
    return file


def make_key_of(folder: Path, name: str):  # type: ignore[no-untyped-def]
    return make_key(folder / f"{name}.pem", None)


def signs(sheet: Path, who: str, answers: str = "y\n" * 200) -> tuple[int, str]:
    key = sheet.with_name(f"{who}.pem")
    reply = CliRunner().invoke(app, ["appliance", str(sheet), "--sign", "--key", str(key)], input=answers)
    said = reply.exception.sentence() if isinstance(reply.exception, Problem) else ""
    return reply.exit_code, reply.output + said


def told(sheet: Path) -> str:
    document = read_document(sheet)
    check, _ = sheet_standing(sheet, document.text.encode(), read_appliance_sheet(document).version)
    return "; ".join((check.sentence, *check.faults))


def test_two_people_make_a_check_and_one_of_them_twice_does_not(sheet: Path) -> None:
    """Each figure is asked with its page; a supervisor's key is no author's."""
    assert told(sheet) == "no second person has checked it against the manual: nobody has signed it"
    code, said = signs(sheet, "writer")
    assert code == 0, said
    assert "co: basis air-free, high 200, page 43. As in the manual?" in said
    signs(sheet, "writer")
    assert told(sheet) == "no second person has checked it against the manual: only writer has signed it"
    assert "this key is not enrolled as an author's" in signs(sheet, "boss")[1]
    assert signs(sheet, "second")[0] == 0
    assert told(sheet) == "every figure held against the manual by writer and by second"
    assert "second check: every figure held" in CliRunner().invoke(app, ["appliance", str(sheet)]).output


def test_a_figure_that_is_not_as_in_the_manual_signs_nothing(sheet: Path) -> None:
    _, said = signs(sheet, "second", "y\nn\n")
    assert "nothing is signed: not as in the manual is " in said
    assert not check_file(sheet).exists()


def test_an_interrupted_signing_goes_on_where_it_was(sheet: Path) -> None:
    """Of the person who began it alone; a figure that was corrected since is asked again."""
    code, said = signs(sheet, "writer", "y\n" * 5)
    assert code == ExitCode.LEFT_OPEN
    assert "5 answers are kept" in said
    assert "Going on" not in signs(sheet, "second", "")[1]
    text = sheet.read_text("utf-8")
    sheet.write_text(text.replace("basis: gross", "basis: net"), "utf-8")
    code, said = signs(sheet, "writer")
    assert (code, said.count("As in the manual?")) == (0, len(list(figures(sheet_of(sheet)))) - 5 + 1), said
    assert list(sheet.parent.glob(".*.answers")) == []


def sheet_of(file: Path) -> ApplianceSheet:
    return read_appliance_sheet(read_document(file))


def test_a_changed_sheet_is_unchecked_and_wants_a_new_version(sheet: Path) -> None:
    signs(sheet, "writer")
    signs(sheet, "second")
    sheet.write_text(sheet.read_text("utf-8").replace("high: 200, page: 43", "high: 250, page: 43"), "utf-8")
    assert told(sheet).startswith("no second person has checked it against the manual: nobody has signed it")
    assert "another text as version 1.0.0" in signs(sheet, "second")[1]
    sheet.write_text(sheet.read_text("utf-8").replace("version: 1.0.0", "version: 2.0.0"), "utf-8")
    assert signs(sheet, "second")[0] == 0


def test_a_line_that_was_altered_is_refused_where_it_stands(sheet: Path) -> None:
    signs(sheet, "writer")
    file = check_file(sheet)
    file.write_bytes(file.read_bytes().replace(b"larkmoor-24-installation.pdf", b"larkmoor-24-installatiom.pdf"))
    with pytest.raises(Problem, match="what was signed does not hold") as caught:
        told(sheet)
    assert caught.value.where == f"{file}:1"


def test_a_withdrawn_version_leads_no_visit(sheet: Path, tmp_path: Path) -> None:
    """As a procedure is withdrawn: a signed line, taken by the device along with the bundles."""
    signs(sheet, "writer")
    signs(sheet, "second")
    author = ["--key", str(sheet.with_name("writer.pem")), "--into", str(tmp_path / "out")]
    why = ["--why", "page 43 was read wrong"]
    assert CliRunner().invoke(app, ["withdraw", sheet.stem, "1.0.0", *why, *author]).exit_code == 0
    assert CliRunner().invoke(app, ["take", str(tmp_path / "out")]).exit_code == 0
    job = ["--jobsheet", str(sheet.with_name("jobsheet.yaml")), "--typed", "--out", str(tmp_path / "visit")]
    reply = CliRunner().invoke(app, ["visit", "combustion-check", *job])
    assert isinstance(reply.exception, Problem)
    assert reply.exception.code is ExitCode.FAILED
    assert "larkmoor-24 1.0.0 may not be used: writer withdrew it at" in reply.exception.sentence()
    assert not (tmp_path / "visit").exists()


def test_a_sheet_without_a_version_cannot_be_signed(sheet: Path) -> None:
    sheet.write_text(sheet.read_text("utf-8").replace("version: 1.0.0\n", ""), "utf-8")
    assert "this sheet has no version" in signs(sheet, "writer")[1]


@pytest.mark.parametrize(
    ("signing", "says"),
    [
        ((), "No second person has checked it against the manual: nobody has signed it."),
        (("writer",), "No second person has checked it against the manual: only writer has signed it."),
        (("writer", "second"), "Every figure held against the manual by writer and by second."),
    ],
)
def test_both_papers_say_whether_a_second_person_checked_the_makers_data(
    sheet: Path, tmp_path: Path, signing: tuple[str, ...], says: str
) -> None:
    """From what is kept with the visit; where nobody is known who signs, no signature counts."""
    for who in signing:
        signs(sheet, who)
    plan, kept = load_plan(procedure_path("gas-rate-check"), sheet.with_name("jobsheet.yaml"))
    _, signatures = sheet_standing(sheet, kept[sheet.name], plan.sheets.appliance.version)
    recorder, _ = Recorder.begin(tmp_path / "visit", plan, {**kept, **signatures})
    recorder.release()
    dossier = open_dossier(tmp_path / "visit", enrolment=tmp_path / "state" / NAME)
    for page in (customers_page(dossier), paper_of(dossier)):
        assert ("Maker's data checked", says) in page.facts
    unknown = replace(dossier, evidence=replace(dossier.evidence, enrolment=None))
    told = dict(customers_page(unknown).facts)["Maker's data checked"]
    assert told.startswith("No second person has checked it against the manual: nobody has signed it")
    assert told.endswith(
        f"signed by {', '.join(signing)}, whom nobody vouches for here." if signing else "signed it."
    )
