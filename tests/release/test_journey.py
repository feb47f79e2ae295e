"""From a new procedure to a visit led by its bundle, as an author and a technician type it."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.desk.approval import fault_of_approval
from handsfree.desk.evidence import Evidence
from handsfree.desk.record import load
from handsfree.ledger import read
from handsfree.office.carried import carry
from handsfree.office.enrolment import Enrolment
from handsfree.office.log import Checkpoint
from handsfree.office.verification import known_enrolment
from handsfree.problem import Problem
from handsfree.visit.standing import KEPT_APPROVAL
from tests.release.conftest import DATA, OFFICE

JOB_SHEET = Path(__file__).resolve().parents[2] / "handsfree" / "demo" / "jobsheet.yaml"


def run(*arguments: object, keys: str = "") -> tuple[int, str]:
    result = CliRunner().invoke(app, list(map(str, arguments)), input=keys)
    if isinstance(result.exception, Problem):
        raise result.exception
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.output


def test_one_machine_approves_takes_and_is_led(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three commands; the record names author, version and day, and keeps the signed approval."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    monkeypatch.chdir(tmp_path)
    for name in ("one-check.yaml", "one-check.tests.yaml"):
        shutil.copy(DATA / name, tmp_path)
    with pytest.raises(Problem, match="this device has no enrolment list"):
        run("take", "bundles")
    run("enrol", "--self", "--author", "A. Author")
    assert (
        "one-check 1.0.0, the first version"
        in run("release", "one-check.yaml", "--into", "bundles", "--jobs", 1)[1]
    )
    assert run("take", "bundles")[0] == 0
    shutil.rmtree("bundles")
    Path("one-check.yaml").unlink()
    shutil.copy(JOB_SHEET.parent / "appliance-24.yaml", tmp_path)
    asked = ("jobsheet", "job.yaml", "--visit", "one-check")
    assert "0 answers are kept" in run(*asked)[1]  # by the name of what was taken: no file of it is here
    visit = ("visit", "one-check", "--jobsheet", JOB_SHEET, "--typed", "--silent", "--plain", "--out", "visit")
    note = Checkpoint(3, bytes(32)).signed(OFFICE)
    carry(note)
    code, said = run(*visit)
    assert code == 3  # nobody answered
    assert "draft" not in said
    opened = next(iter(read(Path("visit")))).event
    assert (opened["standing"]["status"], opened["standing"]["version"]) == ("approved", "1.0.0")
    assert opened["standing"]["by"] == "A. Author"
    assert opened["checkpoint"] == note
    kept = json.loads(Path("visit", "sources", KEPT_APPROVAL).read_bytes())
    assert kept["procedure_sha256"] == opened["procedure_sha256"]
    _looked_at(Path("visit"))
    assert "one-check 1.0.0, approved by A. Author until" in run("take")[1]
    run("withdraw", "one-check", "1.0.0", "--why", "a lock was left out", "--into", "bundles")
    assert run("take", "bundles")[1].strip() == "withdrawn.jsonl: 1 new withdrawal"
    with pytest.raises(Problem, match=r"A\. Author withdrew it at .*: a lock was left out"):
        run(*visit)
    with pytest.raises(Problem, match=r"A\. Author withdrew it at .*: a lock was left out"):
        run(*asked)
    code, said = run("resume", "visit", "--typed", "--silent", "--plain")
    assert code == 3
    warned, _, after = said.partition("The approval no longer holds. Read why on the screen.")
    assert "no longer holds: A. Author withdrew it at" in warned
    assert "Cover off." in after


def _looked_at(visit: Path) -> None:
    """The desk verifies the approval again: whole it holds, and nothing else in its place does."""
    known = known_enrolment()
    assert known is not None

    def fault(enrolment: Enrolment | None = known) -> str:
        return fault_of_approval(Evidence(load(visit), enrolment=enrolment))

    assert fault() == ""
    assert "the key of A. Author, who signed it, is not enrolled" in fault(replace(known, keys={}))
    kept = visit / "sources" / KEPT_APPROVAL
    whole = kept.read_bytes()
    kept.write_bytes(whole.replace(b'"title":"One check"', b'"title":"All checks"'))
    assert "what is signed is something else" in fault()
    kept.unlink()
    assert fault() == "the approval is not kept with the visit"
    kept.write_bytes(whole)
