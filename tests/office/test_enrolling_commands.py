"""The family `handsfree enrol`, as an office types it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.ledger import DeviceKey, state_folder
from handsfree.office.enrolment import NAME
from handsfree.problem import ExitCode, Problem


@pytest.fixture
def words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An office's machine, and the file of a passphrase."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    (tmp_path / "words").write_text("correct horse battery\n")
    return tmp_path / "words"


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["enrol", *map(str, arguments)])
    if isinstance(result.exception, Problem):
        raise result.exception
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout


def test_an_office_begins_enrols_revokes_lists_and_hands_on(words: Path, tmp_path: Path) -> None:
    with_words = ("--passphrase-file", words)
    assert "The list of Larkmoor is begun" in run("begin", "Larkmoor", *with_words)[1]
    _, key = run("key", tmp_path / "me.pem", *with_words)
    (tmp_path / "me.pub").write_text(key)
    assert "supervisor A. Example: " in run("add", "supervisor", "A. Example", tmp_path / "me.pub", *with_words)[1]
    run("add", "device", "tablet 1", "ab" * 32, *with_words)
    assert "(lost)" in run("revoke", "tablet 1", "--why", "lost", *with_words)[1]
    _, said = run("list", "--json")
    listed = json.loads(said)
    assert [(each["name"], each["role"]) for each in listed["keys"]] == [
        ("A. Example", "supervisor"),
        ("tablet 1", "device"),
    ]
    assert (listed["count"], listed["office"]["own"]) == (4, False)
    assert "checksum" in run("list")[1]
    run("export", tmp_path / "copy.jsonl")
    elsewhere = ("--list", tmp_path / "elsewhere.jsonl")
    assert "the list of Larkmoor" in run("import", tmp_path / "copy.jsonl", *elsewhere)[1]
    assert (tmp_path / "elsewhere.jsonl").read_bytes() == (state_folder() / NAME).read_bytes()


def test_a_machine_makes_a_list_for_itself(words: Path) -> None:
    """It needs no passphrase, holds this device, and further keys can be added to it."""
    del words
    _, said = run("--self")
    assert said.startswith("own list: ")
    listed = json.loads(run("list", "--json")[1])
    assert (listed["office"]["own"], listed["keys"][0]["key"]) == (True, DeviceKey(state_folder()).public_key())
    run("add", "technician", "T. Example", "ab" * 32)
    with pytest.raises(Problem, match="already"):
        run("--self")


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (("add", "device", "x", "zz"), "64 hex digits"),
        (("add", "device", "x", "ab" * 32, "--from", "yesterday"), "is no day and no time"),
        (("revoke", "nobody", "--why", "x"), "nowhere"),
        (("begin", "Again"), "already"),
        (("import", "/nowhere"), "no enrolment list"),
    ],
)
def test_wrong_input_is_told_in_a_sentence(words: Path, given: tuple[str, ...], says: str) -> None:
    run("begin", "Larkmoor", "--passphrase-file", words)
    with pytest.raises(Problem, match=says):
        run(*given, *(() if given[0] == "import" else ("--passphrase-file", words)))


def test_without_a_command_its_help_is_shown(words: Path) -> None:
    del words
    assert run()[0] == ExitCode.BAD_INPUT
