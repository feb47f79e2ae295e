"""The commands about a record, as a supervisor or a technician types them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from lists import OFFICE, device_of, list_of
from typer.testing import CliRunner
from visits import tone

from handsfree.commands.record import app
from handsfree.ledger import CLOSED, DeviceKey, Ledger
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME, Role
from handsfree.office.kept_key import make_key
from handsfree.problem import ExitCode, Problem


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    # the events here are made up: deciding again is tested with real visits
    monkeypatch.setattr("handsfree.commands.record.replay_of", None)
    return tmp_path / "state"


def visit(folder: Path, state: Path, *, closed: bool = True) -> Path:
    device = DeviceKey(state, uses=8)
    with Ledger.create(folder, {}, sources={"procedure.yaml": b"x"}, state=state, device=device) as ledger:
        clip = ledger.keep_sound(tone(1), 16_000)
        ledger.append([("heard", {"sound": clip}), ("reading", {"value": "9.30"})])
        if closed:
            ledger.append([(CLOSED, {})])
    return folder


def run(*arguments: object) -> tuple[int, str]:
    """Run a command; who vouches for a record is not what is tested here."""
    own = ["--accept-unanchored"] if arguments[0] == "verify" else []
    result = CliRunner().invoke(app, [*map(str, arguments), *own])
    if isinstance(result.exception, Problem):
        raise result.exception
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout


def test_a_closed_record_verifies(tmp_path: Path, state: Path) -> None:
    """Exit code 0, and the checks that were made are named."""
    code, said = run("verify", visit(tmp_path / "one", state))
    assert code == ExitCode.DONE
    assert "closed: all 4 entries are whole, in order and sealed" in said
    assert "checked: chain, seals, dates, sounds, sources, this device's own count" in said


def test_an_open_record_has_an_exit_code_of_its_own(tmp_path: Path, state: Path) -> None:
    """An interrupted visit is neither well nor broken."""
    code, said = run("verify", visit(tmp_path / "one", state, closed=False))
    assert code == ExitCode.LEFT_OPEN
    assert "the close is missing" in said


@pytest.mark.slow("records are verified by programs of their own")
def test_many_records_are_checked_side_by_side_and_the_gravest_decides(tmp_path: Path, state: Path) -> None:
    """Three folders in two processes: one well, one altered, one that is no visit."""
    good, bad = visit(tmp_path / "good", state), visit(tmp_path / "bad", state)
    (bad / "sources" / "procedure.yaml").write_bytes(b"other")
    (bad / "sound").joinpath(next((bad / "sound").iterdir()).name).unlink()
    code, said = run("verify", good, bad, tmp_path / "none", "--jobs", 2)
    assert code == ExitCode.FAILED
    assert "broken: entry 0: source altered (procedure.yaml is not the file that the visit ran on)" in said
    assert "also entry 1: sound missing" in said
    assert "not checked: " in said
    code, said = run("verify", good, tmp_path / "none", "--jobs", 1)
    assert code == ExitCode.BAD_INPUT


def test_json_for_machines(tmp_path: Path, state: Path) -> None:
    """The same findings as JSON, in the order of the folders."""
    code, said = run("verify", visit(tmp_path / "one", state), tmp_path / "none", "--json", "--jobs", 1)
    first, second = json.loads(said)["records"]
    assert code == ExitCode.BAD_INPUT
    assert (first["verdict"], first["entries"], first["first_bad"], first["fault"]) == ("closed", 4, None, None)
    assert (second["verdict"], second["ok"]) == ("not checked", False)


def test_the_device_key_and_the_head_that_were_handed_over_are_compared(tmp_path: Path, state: Path) -> None:
    """The key as text or in a file, the head as it was written down."""
    folder = visit(tmp_path / "one", state)
    _, key = run("device-key")
    _, noted = run("head", folder)
    (tmp_path / "key.txt").write_text(key)
    for given in (key.strip(), tmp_path / "key.txt"):
        code, said = run("verify", folder, "--device-key", given, "--head", noted.strip())
        assert code == ExitCode.DONE
        assert "device key, count and checksum" in said
    code, said = run("verify", folder, "--head", "9: 000 000 000 000")
    assert code == ExitCode.FAILED
    assert "truncated (9 entries were read out and 4 are left)" in said


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["--device-key", "abc"], "a device key is 64 hex digits"),
        (["--head", "abc"], "'abc' is not a count and a checksum; write it like"),
        (["other", "--head", "4: 000 000 000 000"], "belong to one record"),
    ],
)
def test_wrong_options_are_told(tmp_path: Path, state: Path, options: list[str], sentence: str) -> None:
    """Each is one clear sentence."""
    with pytest.raises(Problem, match=sentence):
        run("verify", tmp_path, *options)


def test_a_new_device_key_replaces_the_old_one(state: Path) -> None:
    """The key stays until a new one is asked for."""
    _, key = run("device-key")
    assert run("device-key") == (0, key)
    _, new = run("device-key", "--new")
    assert new != key
    assert run("device-key") == (0, new)


def test_records_that_disagree_with_each_other_fail(tmp_path: Path, state: Path) -> None:
    """Two visits under one number of the device: each verifies, both cannot be genuine."""
    one = visit(tmp_path / "one", state)
    saved = {path.name: path.read_bytes() for path in state.iterdir() if path.is_file()}
    other = visit(tmp_path / "other", state)
    for path in state.iterdir():
        if path.name == "device.key":
            path.write_bytes(saved[path.name])
    third = visit(tmp_path / "third", state)
    code, said = run("verify", one, third, "--jobs", 1)
    assert code == ExitCode.DONE
    assert other.exists()
    with (state / "device.key").open("r+b") as file:  # as if the device had been set back before its first visit
        file.write(saved["device.key"])
    fourth = visit(tmp_path / "fourth", state)
    code, said = run("verify", third, fourth, "--jobs", 1)
    assert code == ExitCode.FAILED
    assert "across records: " in said
    assert "bear the same number 1 of one device, so one is forged" in said


def test_redacting_names_the_entry(tmp_path: Path, state: Path) -> None:
    """The clip goes, the record is reduced, and entries without sound are refused."""
    folder, words = visit(tmp_path / "one", state), tmp_path / "words"
    words.write_text("correct horse battery")
    key = make_key(tmp_path / "me.pem", "correct horse battery").public
    add(list_of(state / NAME, [device_of(folder)]), OFFICE, key=key, name="T. Demo", role=Role.SUPERVISOR)
    with_key = ("--key", tmp_path / "me.pem", "--passphrase-file", words)
    _, said = run("redact", folder, 1, "--reason", "a private word", *with_key)
    assert "the sound of entry 1 was redacted by T. Demo at" in said
    assert list((folder / "sound").iterdir()) == []
    code, said = run("verify", folder)
    assert (code, said.startswith(f"{folder}: reduced: all 4 entries")) == (ExitCode.REDUCED, True)
    with pytest.raises(Problem, match="entry 2 has no sound"):
        run("redact", folder, 2, "--reason", "x", *with_key)
    with pytest.raises(Problem, match="the record has no entry 9"):
        run("redact", folder, 9, "--reason", "x", *with_key)


def test_exporting_copies_the_record(tmp_path: Path, state: Path) -> None:
    """With the sound it is the record, without it is a reduced one."""
    folder = visit(tmp_path / "one", state)
    assert "3 files were copied" in run("export", folder, tmp_path / "all")[1]
    assert "2 files were copied" in run("export", folder, tmp_path / "quiet", "--without-sound")[1]
    assert run("verify", tmp_path / "all")[0] == ExitCode.DONE
    assert run("verify", tmp_path / "all", tmp_path / "quiet", "--jobs", 1)[0] == ExitCode.REDUCED
