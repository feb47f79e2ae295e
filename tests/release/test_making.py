"""What may be released, and what a bundle then is."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from typer.testing import CliRunner

from handsfree.bundles.archive import Bundle, bundle_of
from handsfree.bundles.version import least_after, numbers
from handsfree.commands.app import app
from handsfree.documents import read_document
from handsfree.office.enrolment import Enrolment
from handsfree.problem import Problem
from handsfree.procedure.proofs.finding import PROOFS
from handsfree.release.making import Author, made
from tests.release.conftest import AUTHOR, DATA, NOW, STRANGER


def changed(file: Path, *pairs: tuple[str, str]) -> Path:
    text = file.read_text()
    for was, now in pairs:
        assert was in text
        text = text.replace(was, now)
    file.write_text(text)
    return file


def test_versions_sort_as_semantic_versioning_has_them() -> None:
    """Semantic Versioning 2.0.0, items 2 (1.9.0, 1.10.0, 1.11.0; no leading zeros) and 11 (1.0.0 to 2.1.1)."""
    for rising in (["1.9.0", "1.10.0", "1.11.0"], ["1.0.0", "2.0.0", "2.1.0", "2.1.1"]):
        shuffled = rising[::-1]
        assert sorted(shuffled, key=numbers) == rising
    for wrong in ("1.0", "01.0.0", "1.0.0-alpha", "v1.0.0", "1.0.0\n"):
        with pytest.raises(ValueError, match="no version"):
            numbers(wrong)


def test_a_looser_change_raises_the_major_number() -> None:
    """Items 6 to 8: the patch for what changes nothing, the minor resets it, the major resets both."""
    assert [least_after("1.4.2", weight) for weight in ("wording", "neutral", "tighter", "looser")] == [
        "1.4.3",
        "1.4.3",
        "1.5.0",
        "2.0.0",
    ]


def test_the_signature_is_the_author_s_over_everything_in_the_bundle(released: Bundle) -> None:
    """By the specifications alone: RFC 8785 form, RFC 9162 leaf hash (2.1.1), RFC 8032, SHA-256."""
    again = bundle_of(released.content, "again")
    said = again.approval.model_dump(mode="json")
    signature = said.pop("signature")
    leaf = hashlib.sha256(b"\x00" + rfc8785.dumps(said)).digest()
    assert signature["root"] == leaf.hex()
    Ed25519PublicKey.from_public_bytes(bytes.fromhex(AUTHOR.public)).verify(
        bytes.fromhex(signature["seal"]), b"handsfree endorsements, RFC 9162 tree head\n" + leaf
    )
    assert said["files"] == {name: hashlib.sha256(data).hexdigest() for name, data in again.files.items()}
    assert released.content == again.content


def test_a_bundle_holds_the_procedure_and_what_it_was_proven_with(released: Bundle) -> None:
    files, approval = released.files, released.approval
    assert files["procedure/one-check.yaml"] == (DATA / "one-check.yaml").read_bytes()
    assert json.loads(files["words.json"])["removed"][0] == "R IY M UW V D"  # the CMU pronouncing dictionary
    for sheet in ("job", "appliance"):
        said = CliRunner().invoke(app, ["template", "--sheet", sheet, "--schema"]).output
        assert files[f"sheets/{sheet}.schema.json"].decode() == said
    assert b'failures="0"' in files["stories/outcome.xml"]
    assert (approval.version, approval.weight, approval.proofs) == ("1.0.0", "first", tuple(PROOFS))
    assert (approval.stories.told, approval.stories.gates) == (1, (4, 4))
    assert approval.proven_with.program.startswith("handsfree ")


@pytest.mark.parametrize(
    ("was", "now", "told"),
    [
        ("version: 1.0.0\n", "", "one-check.yaml:3:12: this procedure has no version"),
        (
            "  - {id: cover-on, kind: restore, title: Cover on, source: a test, things: [cover]}\n",
            "",
            "not proven",
        ),
        ("done: [looked inside]", "done: [looked around]", 'a story goes otherwise: Off, looked at, on: "looked'),
        ("[looked inside]", "[looked inside, xyzzyq inside]", "not proven"),
    ],
    ids=["no version", "unproven", "a story fails", "a word nobody can hear"],
)
def test_what_is_not_ready_is_refused(beside: Path, author: Author, was: str, now: str, told: str) -> None:
    with pytest.raises(Problem) as refused:
        made(changed(beside, (was, now)), author, now=NOW)
    assert told in refused.value.sentence()


def test_what_is_untested_is_refused(beside: Path, author: Author) -> None:
    stories = beside.with_name("one-check.tests.yaml")
    changed(stories, ("coverage: {gates: 100}", "coverage: {gates: 100, ways: 100}"))
    with pytest.raises(Problem, match="its stories cover too little"):
        made(beside, author, now=NOW)
    stories.unlink()
    with pytest.raises(Problem, match="untested: no stories stand beside it"):
        made(beside, author, now=NOW)


@pytest.mark.parametrize(
    ("was", "now", "least"),
    [
        ("done: [looked inside]", "done: [looked inside, looked]", "2.0.0"),
        ("done: [looked inside]", "done: [looked inside], needs: {cover: removed}", "1.1.0"),
        ("Look inside.", "Look at the inside.", "1.0.1"),
        ("# A small procedure", "# The small procedure", "1.0.1"),
    ],
    ids=["looser", "tighter", "wording", "a comment"],
)
def test_the_version_is_raised_as_the_changes_ask(
    beside: Path, author: Author, released: Bundle, was: str, now: str, least: str
) -> None:
    """Too low is refused, with the least that will do."""
    low = {"2.0.0": "1.9.0", "1.1.0": "1.0.9", "1.0.1": "1.0.0"}[least]
    changed(beside, (was, now), ("version: 1.0.0", f"version: {low}" if low != "1.0.0" else "version: 1.0.0 "))
    with pytest.raises(Problem) as refused:
        made(beside, author, now=NOW, before=released)
    assert f"write `version: {least}`" in str(refused.value.remedy)
    assert str(read_document(beside).place(("version",))) == refused.value.where


def test_an_author_s_key_must_be_enrolled_as_one(enrolment: Enrolment) -> None:
    """A supervisor's is none."""
    with pytest.raises(Problem, match="not enrolled as an author's"):
        Author.of(STRANGER, enrolment, NOW)
