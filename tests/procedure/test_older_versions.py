"""A procedure of an older version of the language: refused to its author, rewritten, and read from a record."""

from __future__ import annotations

import json
import tarfile
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner
from workshop import PROVEN

from handsfree.commands.app import app
from handsfree.documents import parse_document, read_document
from handsfree.problem import Problem
from handsfree.procedure.file import LANGUAGE_VERSION
from handsfree.procedure.older_versions import RENAMED, in_todays_form, read_kept_source, rewritten
from handsfree.procedure.procedure import load_procedure

ROOT = Path(__file__).parents[2]
GOLDEN = ROOT / "tests" / "session" / "golden" / "visit-of-version-2.tar.xz"
"""A visit recorded when the language was in its first version, with the procedure that it was led by."""

OLD = """\
# Keys of the first version, in each shape that YAML gives them.
handsfree: 1   # the version
procedure: old
title: Old
purpose: A test.
jobsheet: [serial]
gates:
  - id: room          # at: this comment stays
    kind: readings
    title: "Room, read at: the door"
    source: none
    prompt: "CO?"
    ask: [{quantity: ambient_co}]
    at:   room        # where it is kept
    settle: {wait_seconds: 90, apart_seconds: 40, source: "none, at: all"}
    unsettled: finish
  - {id: again, kind: readings, title: Again, source: none, prompt: "C?", ask: [{quantity: co}], "at": room}
  - {id: finish, kind: finish, title: Finish}
"""

NEW = """\
# Keys of the first version, in each shape that YAML gives them.
handsfree: 2   # the version
procedure: old
title: Old
purpose: A test.
jobsheet: [serial]
gates:
  - id: room          # at: this comment stays
    kind: readings
    title: "Room, read at: the door"
    source: none
    prompt: "CO?"
    ask: [{quantity: ambient_co}]
    point:   room        # where it is kept
    settle: {wait_seconds: 90, interval_seconds: 40, source: "none, at: all"}
    unsettled: finish
  - {id: again, kind: readings, title: Again, source: none, prompt: "C?", ask: [{quantity: co}], "point": room}
  - {id: finish, kind: finish, title: Finish}
"""


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, list(arguments))
    if isinstance(result.exception, Problem):
        return 2, result.exception.sentence()
    return result.exit_code, result.output


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A file of the first version."""
    path = tmp_path / "old.yaml"
    path.write_text(OLD, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sources of the golden record, as they were sealed."""
    base = tmp_path_factory.mktemp("kept")
    with tarfile.open(GOLDEN) as packed:
        packed.extractall(base, filter="data")
    return base / "visit"


def test_an_old_key_is_refused_with_its_line_and_its_new_name(old: Path) -> None:
    """At the key itself; the remedy names the command."""
    with pytest.raises(Problem) as refused:
        load_procedure(old)
    assert refused.value.what == "the key 'at' is called 'point' since version 2 of the language"
    assert refused.value.where == f"{old}:14:5"
    assert f"handsfree rewrite {old}" in str(refused.value.remedy)


@pytest.mark.parametrize(
    "arguments",
    [
        ("check",),
        ("draw",),
        ("visit", "--jobsheet", str(ROOT / "handsfree" / "demo" / "jobsheet.yaml")),
        ("rehearse",),
        ("compare", "/dev/null"),
    ],
    ids=lambda arguments: arguments[0],
)
def test_every_command_of_an_author_and_the_visit_refuse_it(old: Path, arguments: tuple[str, ...]) -> None:
    """By the same sentence, and not with success."""
    name, *others = arguments
    code, output = run(name, str(old), *others)
    assert code in {1, 2}
    assert "the key 'at' is called 'point' since version 2 of the language" in output
    assert "old.yaml:14:5" in output


def test_check_tells_all_old_keys_of_a_file_at_once(old: Path) -> None:
    """One look mends it all."""
    _, output = run("check", str(old))
    for line in ("old.yaml:14:5", "old.yaml:15:32", "old.yaml:17:98", "old.yaml:2:12"):
        assert line in output
    assert "'apart_seconds' is called 'interval_seconds'" in output


def test_a_file_of_an_old_version_without_an_old_key_is_refused_too(tmp_path: Path) -> None:
    """Its meaning is that of its version."""
    path = tmp_path / "old.yaml"
    path.write_text(NEW.replace("handsfree: 2", "handsfree: 1"), encoding="utf-8")
    with pytest.raises(Problem, match="this is version 1 of the language, and today's is version 2") as refused:
        load_procedure(path)
    assert refused.value.where == f"{path}:2:12"


def test_rewriting_renames_the_keys_and_moves_nothing_else(old: Path) -> None:
    """Comments, quotes, spaces and texts that hold the word stay; the file then loads."""
    code, output = run("rewrite", str(old))
    assert (code, output) == (0, f"{old}: rewritten to version {LANGUAGE_VERSION} of the language\n")
    assert old.read_text("utf-8") == NEW
    assert load_procedure(old).gate("room").gate.effects.kept_at == "room"
    assert run("rewrite", str(old)) == (0, f"{old}: nothing to rewrite\n")
    assert old.read_text("utf-8") == NEW


def test_rewriting_keeps_the_ends_of_lines(old: Path) -> None:
    """A file from another system keeps its own."""
    old.write_bytes(OLD.replace("\n", "\r\n").encode())
    assert run("rewrite", str(old))[0] == 0
    assert old.read_bytes() == NEW.replace("\n", "\r\n").encode()


def test_a_key_left_behind_in_a_file_of_today_is_refused_and_rewritten(old: Path) -> None:
    """As one who copies an old gate has it."""
    old.write_text(NEW.replace("    point:   room", "    at:   room"), encoding="utf-8")
    with pytest.raises(Problem, match="'at' is called 'point'"):
        load_procedure(old)
    assert run("rewrite", str(old))[0] == 0
    assert old.read_text("utf-8") == NEW


def test_what_cannot_be_renamed_alone_is_refused_and_left_as_it_is(old: Path) -> None:
    """A gate with both keys has no rewriting; no file of the same call is touched."""
    text = OLD.replace("    at:   room", "    point: other\n    at:   room")
    old.write_text(text, encoding="utf-8")
    other = old.with_name("other.yaml")
    other.write_text(OLD, encoding="utf-8")
    code, output = run("rewrite", str(other), str(old))
    assert code == 2
    assert "'point' stands twice" in output
    assert (old.read_text("utf-8"), other.read_text("utf-8")) == (text, OLD)


@pytest.mark.parametrize("name", ["handsfree/demo/jobsheet.yaml", "handsfree/demo/appliance-24.yaml"])
def test_a_sheet_has_nothing_to_rewrite(name: str) -> None:
    """Sheets have versions of their own."""
    document = read_document(ROOT / name)
    assert rewritten(document) == document.text
    assert in_todays_form(document) is document


def test_a_language_kept_with_a_record_is_read_by_todays_names(tmp_path: Path) -> None:
    """Until version 7 of the events the section of other supplies was called after fuels, and so was a saying."""
    text = (ROOT / "tests" / "lexicon" / "data" / "german.yaml").read_text("utf-8")
    older = text.replace("\nsupplies:", "\nfuels:").replace("pair-other-supply", "pair-other-fuel")
    older = older.replace("{supply}", "{fuel}")
    assert older != text
    file = tmp_path / "german.yaml"
    file.write_text(older, "utf-8")
    assert read_kept_source(file).content == parse_document(text, "german.yaml").content
    assert read_document(file).content != parse_document(text, "german.yaml").content


def test_shipped_and_sample_procedures_are_of_today() -> None:
    """None is rewritten."""
    texts = [path.read_text("utf-8") for path in (ROOT / "procedures").glob("*.yaml")] + [PROVEN]
    assert len(texts) > 5
    assert [rewritten(parse_document(text, "f")) for text in texts] == texts


def test_a_source_kept_with_a_record_reads_in_todays_form_and_keeps_its_digest(kept: Path) -> None:
    """The golden record's procedure is of version 1; the record names the digest of its text."""
    path = kept / "sources" / "two-rate-combustion.yaml"
    stated = read_document(path).content["handsfree"]
    assert stated == 1 < LANGUAGE_VERSION
    with pytest.raises(Problem, match="since version 2"):
        load_procedure(path)
    opened = json.loads((kept / "ledger.jsonl").read_text("utf-8").splitlines()[0])["event"]
    assert load_procedure(path, read_kept_source).version() == opened["procedure_sha256"]


def test_what_is_read_of_an_old_source_is_what_its_rewriting_says(kept: Path) -> None:
    """The reader of records and the command rename alike, places included."""
    for path in sorted((kept / "sources").glob("*.yaml")):
        document = read_document(path)
        read, again = in_todays_form(document), parse_document(rewritten(document), str(path))
        assert read.content == again.content
        assert read.text == document.text
        assert {key: place.line for key, place in read.places.items()} == {
            key: place.line for key, place in again.places.items()
        }


@pytest.mark.slow("a visit of an older version is led, verified and printed")
def test_the_customers_report_is_made_of_a_record_with_old_sources(kept: Path, tmp_path: Path) -> None:
    """With the maker's data, which only the sources hold; and the visit is told again."""
    into = tmp_path / "report.html"
    assert run("report", str(kept), "-o", str(into))[0] == 0
    page = into.read_text("utf-8")
    assert "not readable" not in page
    assert "revision" in page
    code, told = run("replay", str(kept), "--json", "--no-talk")
    assert code == 0
    assert "cannot be read" not in told


@pytest.mark.parametrize("key", RENAMED, ids=lambda key: key.old)
def test_every_renamed_key_is_met_in_these_tests(key: Any) -> None:
    """Else a line of the table would be believed."""
    assert f"{key.old}:" in OLD or f'"{key.old}":' in OLD
    assert f"{key.new}:" in NEW
