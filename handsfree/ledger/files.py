"""The few things the ledger asks of a disk, so that tests can stand in for one that fails or loses power."""

from __future__ import annotations

import contextlib
import errno
import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO, Protocol, TypeVar

from handsfree.problem import ExitCode, Problem
from handsfree.regular_files import open_regular

SECTOR = 512
"""The smallest piece of a file that a disk writes whole or not at all."""

PART = ".part"
"""How a file ends that is not yet whole."""


Opened = TypeVar("Opened")


class Files(Protocol):
    """A file system. Every method raises OSError as the operating system does."""

    def create(self, path: Path, mode: int) -> int:
        """Make a new file and return a handle; fails when the name is taken."""

    def open(self, path: Path) -> int:
        """Return a handle for reading and writing an existing file."""

    def write(self, handle: int, data: bytes, offset: int) -> int:
        """Write at an offset and return how many bytes were taken, which may be fewer."""

    def truncate(self, handle: int, size: int) -> None:
        """Cut the file to a size."""

    def fsync(self, handle: int) -> None:
        """Return when the file's contents are on the disk."""

    def close(self, handle: int) -> None:
        """Give the handle back."""

    def make_folder(self, path: Path, mode: int) -> None:
        """Make one folder; fails when the name is taken."""

    def fsync_folder(self, path: Path) -> None:
        """Return when the folder's names are on the disk."""

    def rename(self, path: Path, name: str) -> None:
        """Give a file another name in its folder, replacing what had that name."""

    def unlink(self, path: Path) -> None:
        """Remove a file's name."""

    def read(self, path: Path) -> BinaryIO:
        """Open a file for reading."""

    def names(self, path: Path) -> list[str]:
        """Return the names in a folder, sorted."""

    def linked(self, path: Path) -> bool:
        """Say whether the name is a link to something elsewhere; False when there is no such name."""

    def mode(self, path: Path) -> int:
        """Return the permission bits."""

    def lock(self, path: Path, seconds: float) -> Callable[[], None]:
        """Take the one lock of that name and return what gives it back; TimeoutError when it stays taken."""


class _Reserve:
    """Handles held open by whoever writes, so that a program that has run out of them still records.

    When no other can be had one of them is given up for the file that is wanted, and taken back as soon as may be.
    """

    def __init__(self, count: int) -> None:
        self._count, self._held, self._lock = count, list[int](), threading.Lock()

    def fill(self) -> None:
        """Hold as many as can be had."""
        with self._lock, contextlib.suppress(OSError):
            while len(self._held) < self._count:
                self._held.append(os.open(os.devnull, os.O_RDONLY | os.O_CLOEXEC))

    def opened(self, opening: Callable[[], Opened]) -> Opened:
        """Return what `opening` opens, with a handle of the reserve where there is no other."""
        try:
            return opening()
        except OSError as error:
            if error.errno not in {errno.EMFILE, errno.ENFILE} or not self._held:
                raise
        with self._lock:
            if self._held:
                os.close(self._held.pop())
            return opening()


RESERVE = _Reserve(4)
"""More than the files that an entry, its key or a sound has open at a time."""


class Disk:
    """The file system of the machine."""

    def create(self, path: Path, mode: int) -> int:
        """Make a new file and return a handle."""
        RESERVE.fill()
        return RESERVE.opened(lambda: os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, mode))

    def open(self, path: Path) -> int:
        """Return a handle for an existing file."""
        RESERVE.fill()
        return RESERVE.opened(lambda: os.open(path, os.O_RDWR | os.O_CLOEXEC))

    def write(self, handle: int, data: bytes, offset: int) -> int:
        """Write at an offset."""
        return os.pwrite(handle, data, offset)

    def truncate(self, handle: int, size: int) -> None:
        """Cut the file to a size."""
        os.ftruncate(handle, size)

    def fsync(self, handle: int) -> None:
        """Flush the file."""
        os.fsync(handle)

    def close(self, handle: int) -> None:
        """Give the handle back."""
        os.close(handle)
        RESERVE.fill()

    def make_folder(self, path: Path, mode: int) -> None:
        """Make one folder."""
        path.mkdir(mode=mode)

    def fsync_folder(self, path: Path) -> None:
        """Flush the folder's names."""
        handle = RESERVE.opened(lambda: os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC))
        try:
            os.fsync(handle)
        finally:
            self.close(handle)

    def rename(self, path: Path, name: str) -> None:
        """Give a file another name in its folder."""
        path.rename(path.with_name(name))

    def unlink(self, path: Path) -> None:
        """Remove a file's name."""
        path.unlink()

    def read(self, path: Path) -> BinaryIO:
        """Open a plain file for reading: a record holds no links, pipes or devices."""
        return RESERVE.opened(lambda: open_regular(path))

    def names(self, path: Path) -> list[str]:
        """Return the names in a folder."""
        return sorted(inner.name for inner in path.iterdir())

    def linked(self, path: Path) -> bool:
        """Say whether the name is a link."""
        return path.is_symlink()

    def mode(self, path: Path) -> int:
        """Return the permission bits."""
        return path.stat().st_mode & 0o777

    def lock(self, path: Path, seconds: float) -> Callable[[], None]:
        """Take a lock that the operating system releases if the process dies."""
        from filelock import FileLock, Timeout  # noqa: PLC0415 - it brings much along, and readers lock nothing

        lock = FileLock(path, timeout=seconds, mode=0o600)
        try:
            lock.acquire()
        except Timeout as error:
            raise TimeoutError(errno.EAGAIN, "the lock is taken", str(path)) from error
        return lock.release


def write_whole(files: Files, handle: int, data: bytes, offset: int) -> None:
    """Write all of the data, however little the disk takes at a time."""
    done = 0
    while done < len(data):
        taken = files.write(handle, data[done:], offset + done)
        if taken <= 0:
            raise OSError(errno.EIO, "the disk took nothing")
        done += taken


def put(files: Files, path: Path, data: bytes, mode: int = 0o644) -> None:
    """Make a file of these bytes durable, contents and name: after a crash it is there whole or not at all."""
    part = path.with_name(path.name + PART)
    try:
        handle = files.create(part, mode)
    except FileExistsError:  # a crash left it
        handle = files.open(part)
    try:
        files.truncate(handle, 0)
        write_whole(files, handle, data, 0)
        files.fsync(handle)
    finally:
        files.close(handle)
    files.rename(part, path.name)
    files.fsync_folder(path.parent)


def ensure_folder(files: Files, path: Path, mode: int) -> None:
    """Make a folder and those above it, with durable names; folders that exist are left as they are."""
    try:
        files.names(path)
    except FileNotFoundError:
        ensure_folder(files, path.parent, mode)
        with contextlib.suppress(FileExistsError):  # another thread or program made it just now
            files.make_folder(path, mode)
        files.fsync_folder(path.parent)


def contents(files: Files, path: Path) -> bytes:
    """Return all the bytes of a file."""
    with files.read(path) as stream:
        return stream.read()


def disk_problem(error: OSError, doing: str, path: Path) -> Problem:
    """Return what to tell a person about a failure of the disk while doing something."""
    remedies = {
        errno.ENOSPC: ("the disk is full", "free some space, then resume the visit"),
        errno.EDQUOT: ("the disk quota is used up", "free some space, then resume the visit"),
        errno.EROFS: ("the disk is read-only", "choose a folder that can be written"),
        errno.EACCES: ("permission is refused", "give yourself the right to it"),
        errno.EPERM: ("permission is refused", "give yourself the right to it"),
        errno.ENOTDIR: ("a file stands where a folder is needed", "name another folder"),
        errno.ELOOP: ("a link, a pipe or a device stands where a plain file belongs", "copy the record itself"),
        errno.EFBIG: ("a file is larger than any that a record holds", "look at who wrote it"),
    }
    trouble = os.strerror(error.errno).lower() if error.errno else str(error)
    what, remedy = remedies.get(error.errno or 0, (f"the disk failed ({trouble})", "check the disk"))
    return Problem(f"{what} while {doing}", where=str(path), remedy=remedy, code=ExitCode.FAILED)
