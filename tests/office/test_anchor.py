"""Who vouches for a record: a forged one, a future one, a stranger's, a revoked device's, a demo's."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest
from lists import OFFICE, device_of, list_of
from small_visits import DAY, HOUR, visit
from typer.testing import CliRunner

from handsfree.commands import record as commands
from handsfree.office.enrolling import revoke
from handsfree.office.enrolment import NAME
from handsfree.problem import ExitCode, Problem


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A machine without a list of its own."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    monkeypatch.setattr(commands, "replay_of", None)
    return tmp_path


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(commands.app, ["verify", *map(str, arguments), "--jobs", "1"])
    if isinstance(result.exception, Problem):
        raise result.exception
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout


def test_a_visit_forged_with_a_fresh_key_and_dated_in_the_future_is_a_fault(here: Path) -> None:
    """A script made it in half a minute, with a tone for speech: every seal fits, and that date has not come."""
    code, said = run(visit(here / "forged", here / "forger", ahead=3 * DAY))
    assert code == ExitCode.FAILED
    assert "entry 0: dated in the future" in said
    assert "unanchored: " in said


def test_a_visit_forged_with_a_fresh_key_alone_never_ends_with_nought(here: Path) -> None:
    """Without a list nobody vouches; with the office's list the device is unknown; neither is 0."""
    known, forged = visit(here / "known", here / "tablet"), visit(here / "forged", here / "forger")
    listed = list_of(here / "office.jsonl", [device_of(known)])
    code, said = run(forged)
    assert (code, "no enrolment list was given" in said) == (ExitCode.UNANCHORED, True)
    code, said = run(forged, "--enrolment", listed)
    assert (code, "sealed by an unknown device" in said) == (ExitCode.UNANCHORED, True)
    code, said = run(forged, "--accept-unanchored")
    assert (code, "accepted as it is" in said) == (ExitCode.DONE, True)
    code, said = run(known, "--enrolment", listed)
    assert (code, "enrolled by The office of Larkmoor" in said) == (ExitCode.DONE, True)
    assert run(known, "--device-key", device_of(known))[0] == ExitCode.DONE
    assert run(known, forged, "--enrolment", listed)[0] == ExitCode.UNANCHORED


def test_a_clock_some_minutes_ahead_is_no_fault(here: Path) -> None:
    """Honest clocks differ; five minutes are let pass, an hour is not."""
    assert run(visit(here / "near", here / "tablet", ahead=300_000), "--accept-unanchored")[0] == ExitCode.DONE
    assert run(visit(here / "far", here / "tablet", ahead=HOUR), "--accept-unanchored")[0] == ExitCode.FAILED


def test_this_machines_copy_of_the_list_is_taken_when_none_is_named(here: Path) -> None:
    known = visit(here / "known", here / "tablet")
    list_of(here / "state" / NAME, [device_of(known)])
    assert run(known)[0] == ExitCode.DONE


def test_a_list_that_a_machine_made_for_itself_is_named_so(here: Path) -> None:
    known = visit(here / "known", here / "tablet")
    listed = list_of(here / "own.jsonl", [device_of(known)], own=True)
    code, said = run(known, "--enrolment", listed)
    assert code == ExitCode.DONE
    assert "own list: " in said
    assert "nobody else vouches" in said


def test_a_visit_begun_after_its_device_was_revoked_is_a_fault(here: Path) -> None:
    """What it made before the revocation stands."""
    before, after = visit(here / "before", here / "tablet", ahead=-3 * DAY), visit(here / "after", here / "tablet")
    listed = list_of(here / "office.jsonl", [device_of(before)])
    day = time.strftime("%Y-%m-%dT00:00:00.000Z", time.gmtime(time.time() - DAY / 1000))
    revoke(listed, OFFICE, key=device_of(before), why="stolen from the van", valid_until=day)
    code, said = run(before, "--enrolment", listed)
    assert code == ExitCode.DONE, said
    code, said = run(after, "--enrolment", listed)
    assert code == ExitCode.FAILED
    assert "revoked device (the device tablet 1 was revoked from" in said
    assert "stolen from the van" in said


def test_an_invented_visit_says_demo_and_is_its_own_anchor(here: Path) -> None:
    """The first entry says so, under the seal: it cannot be taken off."""
    demo = visit(here / "demo", here / "thrown-away", demo=True)
    code, said = run(demo)
    assert (code, "DEMO: an invented visit" in said) == (ExitCode.DONE, True)
    ledger = demo / "ledger.jsonl"
    ledger.write_bytes(ledger.read_bytes().replace(b'"demo":true,', b""))
    assert run(demo)[0] == ExitCode.FAILED


def test_the_json_says_who_vouches(here: Path) -> None:
    folder = visit(here / "one", here / "tablet")
    _, said = run(folder, "--json")
    (found,) = json.loads(said)["records"]
    assert (found["anchor"], found["ok"], found["demo"], found["verdict"]) == (
        "unanchored",
        False,
        False,
        "closed",
    )


def test_a_list_that_does_not_hold_is_told_before_anything_is_checked(here: Path) -> None:
    folder = visit(here / "one", here / "tablet")
    listed = list_of(here / "office.jsonl", [device_of(folder)])
    listed.write_bytes(listed.read_bytes().replace(b"tablet 1", b"tablet 2"))
    with pytest.raises(Problem, match="its seal is not the office's"):
        run(folder, "--enrolment", listed)
