"""One visit as one archive: the same bytes for the same files, readable by others, nothing of an attacker's taken.

The reference is GNU tar, which reads an archive of POSIX.1-2001 without this program, and sha256sum.
"""

import gzip
import hashlib
import io
import os
import shutil
import subprocess
import tarfile

import pytest

from handsfree.objects import archive
from handsfree.objects.archive import content_digest, pack, unpack
from handsfree.problem import Problem


def packed(folder):
    sink = io.BytesIO()
    pack(folder, sink)
    return sink.getvalue()


def files_of(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_other_programs_read_it_and_find_the_same_digest(visit, tmp_path):
    """A folder of objects outlives this program; what is no part of the record stays behind."""
    (tmp_path / "visit.tar").write_bytes(packed(visit))
    (tmp_path / "out").mkdir()
    subprocess.run(["tar", "-xf", tmp_path / "visit.tar", "-C", tmp_path / "out"], check=True)
    (visit / "notes.txt").unlink()
    assert files_of(tmp_path / "out") == files_of(visit)
    said = subprocess.run(["sha256sum", tmp_path / "visit.tar"], check=True, capture_output=True, text=True)
    assert said.stdout.split()[0] == content_digest(visit)


def test_the_same_files_give_the_same_bytes_and_others_do_not(visit, tmp_path):
    """Times, rights and where it lies do not count; one changed byte does."""
    before = content_digest(visit)
    copy = tmp_path / "elsewhere"
    shutil.copytree(visit, copy)
    os.utime(copy / "ledger.jsonl", (1, 1))
    (copy / "ledger.jsonl").chmod(0o600)
    assert content_digest(copy) == before
    (copy / "sources" / "jobsheet.yaml").write_bytes(b"job: 2\n")
    assert content_digest(copy) != before


def test_what_was_packed_is_laid_out_again(visit, tmp_path):
    """Whole, or not at all."""
    data = packed(visit)
    unpack(io.BytesIO(data), tmp_path / "out", digest=hashlib.sha256(data).hexdigest())
    assert files_of(tmp_path / "out") == {k: v for k, v in files_of(visit).items() if k != "notes.txt"}


@pytest.mark.parametrize("what", ["link", "pipe", "folder", "nothing"])
def test_a_folder_with_what_no_record_holds_is_not_packed(visit, what):
    """No link leads to a private file, no pipe is waited for."""
    clip = visit / "sound" / "x"
    if what == "link":
        clip.symlink_to("/etc/passwd")
    if what == "pipe":
        os.mkfifo(clip)
    if what == "folder":
        clip.mkdir()
    if what == "nothing":
        (visit / "ledger.jsonl").unlink()
    with pytest.raises(Problem):
        content_digest(visit)


def member(name, data=b"x", **given):
    info = tarfile.TarInfo(name)
    info.size = len(data)
    for each, value in given.items():
        setattr(info, each, value)
    return info, data


def hostile(*members, before=()):
    """Return an archive with the members that an attacker chose, after a ledger."""
    sink = io.BytesIO()
    with tarfile.open(fileobj=sink, mode="w", format=tarfile.PAX_FORMAT) as tar:
        for info, data in (*before, member("ledger.jsonl"), *members):
            tar.addfile(info, io.BytesIO(data))
    return sink.getvalue()


ATTACKS = {
    "a path upwards": hostile(member("../out-of-here")),
    "a path upwards inside": hostile(member("sound/../../out-of-here")),
    "an absolute path": hostile(member("/etc/out-of-here")),
    "a path through a pax header": hostile(member("sound/a", pax_headers={"path": "../out-of-here"})),
    "a symbolic link": hostile(member("sound/a", b"", type=tarfile.SYMTYPE, linkname="/etc/passwd")),
    "a hard link": hostile(member("sound/a", b"", type=tarfile.LNKTYPE, linkname="ledger.jsonl")),
    "a pipe": hostile(member("sound/a", b"", type=tarfile.FIFOTYPE)),
    "a device": hostile(member("sound/a", b"", type=tarfile.CHRTYPE)),
    "a folder": hostile(member("sound", b"", type=tarfile.DIRTYPE)),
    "a sparse file": hostile(member("sound/a", pax_headers={"GNU.sparse.map": "0,1", "GNU.sparse.size": "9"})),
    "a name twice": hostile(member("ledger.jsonl", b"y")),
    "a file beneath a file": hostile(member("ledger.jsonl/a")),
    "a name that is no part": hostile(member("notes.txt")),
    "another order": hostile(before=[member("sound/a")]),
    "rights of its own": hostile(member("sound/a", mode=0o4755)),
    "rubbish at its end": hostile(member("sound/a")) + b"rubbish",
    "a promise of more than there is": hostile(member("sound/a"))[:1600],
    "compressed": gzip.compress(hostile()),
    "headers of headers": tarfile.TarInfo.create_pax_global_header({"comment": "x"}) * 3000 + hostile(),
    "nothing": b"",
    "no archive": b"\xff" * 4096,
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_a_hostile_archive_is_refused_and_writes_nothing_outside(attack, tmp_path):
    """Named by its own digest: the name is right, the contents are not those of a visit."""
    data = ATTACKS[attack]
    (tmp_path / "in").mkdir()
    with pytest.raises(Problem):
        unpack(io.BytesIO(data), tmp_path / "in" / "out", digest=hashlib.sha256(data).hexdigest())
    assert not list(tmp_path.rglob("*out-of-here*"))
    assert not any(path.is_symlink() for path in tmp_path.rglob("*"))


def test_an_archive_beyond_the_ceilings_is_refused_before_it_is_written(visit, tmp_path, monkeypatch):
    """A header may promise any size; the disk is not filled first."""
    data = packed(visit)
    monkeypatch.setattr(archive, "LARGEST", 1000)
    with pytest.raises(Problem, match="larger than any visit"):
        unpack(io.BytesIO(data), tmp_path / "out", digest=hashlib.sha256(data).hexdigest())
    assert sum(path.stat().st_size for path in (tmp_path / "out").rglob("*") if path.is_file()) <= 1000
    with pytest.raises(Problem, match="larger than any visit"):
        content_digest(visit)


def test_bytes_that_are_not_what_the_name_says_are_refused(visit, tmp_path):
    """A bit that fell over on the disk, or another visit under this name."""
    data = bytearray(packed(visit))
    digest = hashlib.sha256(data).hexdigest()
    data[data.index(b'{"seq":1}') + 7] ^= 1
    with pytest.raises(Problem, match="not what its name says"):
        unpack(io.BytesIO(bytes(data)), tmp_path / "out", digest=digest)
