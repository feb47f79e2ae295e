"""What the fleet finds is what the desk shows; everything lost but the objects, the desk answers the same."""

import shutil

import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.desk.index import Index, embedded_file
from handsfree.desk.questions import QUESTIONS, answer
from handsfree.store.wanted import ListWanted


def fleet(*arguments):
    done = CliRunner().invoke(app, ["fleet", *map(str, arguments)])
    assert done.exit_code == 0, (done.output, done.exception)
    return done.output


def told(root):
    """What a desk that starts over a folder has of each visit by its record, and what its questions answer."""
    index = Index(root)
    index.scan()
    rows, total = index.store.find(ListWanted())
    facts = sorted((row.checksum, row.seal, row.outcome, row.job, row.identity) for row in rows)
    waits = len(index.store.unchecked())
    answers = {name: sorted(answer(index.store, question).rows) for name, question in QUESTIONS.items()}
    index.store.close()
    return facts, total, waits, answers


@pytest.fixture(autouse=True)
def _own_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


def test_what_was_examined_is_in_the_desks_store_whoever_did_it_and_whenever(visits, tmp_path):
    """A copy too; a store that is lost is filled from the results, and nothing is done again."""
    root, results = visits(2), tmp_path / "found.jsonl"
    shutil.copytree(root / "0001", root / "a copy")
    command = ("examine", root, "--workers", 1, "--results", results, "--into", "desk")
    fleet(*command)
    before = told(root)
    facts, total, waits, answers = before
    assert (total, waits, {seal for _, seal, *_ in facts}) == (3, 0, {"closed"})
    assert answers["stops"]
    for file in embedded_file(root).parent.glob("desk-*.sqlite*"):
        file.unlink()
    assert told(root)[2] == 3
    assert "2 were done before" in fleet(*command)
    assert told(root) == before


@pytest.mark.slow("workers are started twice, and visits examined twice")
def test_a_lost_machine_is_restored_from_its_objects_and_answers_the_same(visits, tmp_path):
    """Folders, catalogue and files for questions are gone; an object that is spoilt is told and left out."""
    root, objects = visits(2), tmp_path / "objects"
    fleet("keep", root, objects)
    fleet("examine", root, "--workers", 1, "--results", tmp_path / "one.jsonl", "--into", "desk")
    before = told(root)
    shutil.rmtree(root)
    shutil.rmtree(tmp_path / "cache")
    assert "2 objects, 0 not restored" in fleet("restore", objects, root)
    assert "is there as" in fleet("restore", objects, root)
    fleet("examine", root, "--workers", 1, "--results", tmp_path / "two.jsonl", "--into", "desk")
    assert told(root) == before
    shutil.rmtree(root)
    spoilt = min(objects.rglob("*.tar"))
    spoilt.chmod(0o644)
    spoilt.write_bytes(spoilt.read_bytes()[:-1] + b"x")
    done = CliRunner().invoke(app, ["fleet", "restore", str(objects), str(root)])
    assert "2 objects, 1 not restored" in done.output
    assert len(list(root.iterdir())) == 1


@pytest.mark.slow("the recogniser hears a visit")
def test_a_visit_heard_again_by_the_fleet_is_so_on_the_desk(visits, tmp_path):
    """The desk's own hearing finds nothing left to do."""
    root = visits(1)
    fleet("rehear", root, "--workers", 1, "--results", tmp_path / "found.jsonl", "--into", "desk")
    index = Index(root)
    (row,), _ = index.store.find(ListWanted())
    assert index.view(row.key).heard_again is not None
    index.store.close()
