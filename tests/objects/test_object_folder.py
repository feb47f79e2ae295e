"""Objects in a folder: written once, never over another, read back."""

import pytest

from handsfree.objects.folder import ObjectFolder, is_object_folder
from handsfree.objects.keeping import StoreFailed, fetch_visit, keep_visit
from handsfree.problem import Problem


@pytest.fixture
def store(tmp_path):
    made = ObjectFolder(tmp_path / "objects")
    made.begin()
    return made


def object_file(store, digest):
    return store.root / digest[:2] / f"{digest}.tar"


def test_a_visit_is_kept_once_and_comes_back(visit, store, tmp_path):
    """The second time it is known; nobody may write to it."""
    kept = keep_visit(visit, store)
    assert not kept.known
    assert keep_visit(visit, store).known
    assert list(store.digests()) == [kept.digest]
    assert object_file(store, kept.digest).stat().st_mode & 0o222 == 0
    fetch_visit(store, kept.digest, tmp_path / "out")
    assert (tmp_path / "out" / "ledger.jsonl").read_bytes() == (visit / "ledger.jsonl").read_bytes()


def test_what_lies_there_is_never_written_over_and_a_spoilt_one_is_told(visit, store):
    """Even where it is wrong: it may be all that is left."""
    kept = keep_visit(visit, store)
    there = object_file(store, kept.digest)
    there.chmod(0o644)
    there.write_bytes(b"spoilt")
    with pytest.raises(StoreFailed, match="not what was put into it"):
        keep_visit(visit, store)
    assert there.read_bytes() == b"spoilt"


def test_what_a_cut_left_half_is_no_object(visit, store):
    """It lies under another name."""
    kept = keep_visit(visit, store)
    (store.root / kept.digest[:2] / f".{kept.digest}.123").write_bytes(b"half")
    assert list(store.digests()) == [kept.digest]


def test_objects_are_not_begun_in_a_folder_of_something_else(visit, store):
    """A folder of visits stays one."""
    assert is_object_folder(store.root)
    store.begin()
    with pytest.raises(Problem, match="something else"):
        ObjectFolder(visit).begin()
    with pytest.raises(StoreFailed, match="no such object"):
        store.reading("0" * 64)
