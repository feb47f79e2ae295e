"""A package is a plain archive that any tar reads, the same for the same visit; a hostile one lays nothing out."""

import io
import tarfile

import pytest

from handsfree.handover.package import pack, unpack
from handsfree.problem import Problem


def test_a_visit_comes_out_as_it_went_in_and_always_as_the_same_bytes(pair, tmp_path):
    folder = pair.visits / "first"
    first = pack(folder, tmp_path / "a.tar")
    (folder / "receipt.json").write_text("{}")
    (folder / "mine.txt").write_text("no part of the record")
    assert pack(folder, tmp_path / "b.tar").digest == first.digest
    out = unpack(first.file, tmp_path / "out")
    (folder / "receipt.json").unlink()
    (folder / "mine.txt").unlink()
    names = {file.relative_to(folder): file.read_bytes() for file in folder.rglob("*") if file.is_file()}
    assert {file.relative_to(out): file.read_bytes() for file in out.rglob("*") if file.is_file()} == names
    with tarfile.open(first.file) as archive:  # Python's own reader, by its safest filter
        archive.extractall(tmp_path / "tar", filter="data")
    assert (tmp_path / "tar" / "first" / "ledger.jsonl").read_bytes() == (folder / "ledger.jsonl").read_bytes()


def member(name, kind=tarfile.REGTYPE, data=b"x", link=""):
    header = tarfile.TarInfo(name)
    header.type, header.size, header.linkname = kind, len(data) if kind == tarfile.REGTYPE else 0, link
    return header, data


@pytest.mark.parametrize(
    "members",
    [
        [],
        [member("visit/mine.txt")],
        [member("visit/sources/x")],  # no ledger
        [member("../ledger.jsonl")],
        [member("/etc/ledger.jsonl")],
        [member("visit/../ledger.jsonl")],
        [member("visit/ledger.jsonl"), member("other/ledger.jsonl")],
        [member("visit/ledger.jsonl"), member("visit/sources/../../up")],
        [member("visit/ledger.jsonl"), member("visit/ledger.jsonl")],
        [member("visit/ledger.jsonl", tarfile.SYMTYPE, link="/etc/hostname")],
        [member("visit/ledger.jsonl", tarfile.LNKTYPE, link="/etc/hostname")],
        [member("visit/ledger.jsonl", tarfile.FIFOTYPE)],
        [member("visit/sound", tarfile.DIRTYPE)],
        [member(".visit/ledger.jsonl")],
    ],
)
def test_anything_else_is_refused(members, tmp_path):
    file = tmp_path / "x.tar"
    with tarfile.open(file, "w") as archive:
        for header, data in members:
            archive.addfile(header, io.BytesIO(data))
    with pytest.raises(Problem):
        unpack(file, tmp_path / "deep" / "out")
    assert not any(path.name == "up" or path.name == "ledger.jsonl" for path in tmp_path.iterdir())


@pytest.mark.parametrize("data", [b"", b"x" * 5000, b"\0" * 10240])
def test_what_is_no_archive_is_refused(data, tmp_path):
    (tmp_path / "x.tar").write_bytes(data)
    with pytest.raises(Problem, match="not the package"):
        unpack(tmp_path / "x.tar", tmp_path / "out")
