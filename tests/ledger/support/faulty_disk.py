"""A disk in memory that fails on demand and, at a power cut, loses what was not yet flushed.

The model is harsher than a real file system: until its fsync each sector of a write is kept, lost or
zeroed independently of the others, and until the fsync of the folder each new, changed or removed name
is kept or lost independently too. After an fsync nothing is lost, and a sector that holds flushed bytes is
overwritten in part whole or not at all (what sqlite.org/psow.html calls powersafe overwrite).
"""

from __future__ import annotations

import errno
import io
import os
import random
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

Change = tuple[str, int, bytes]
"""("write", offset, data) or ("cut", size, b"")."""


class PowerCut(BaseException):
    """The machine is dead: nothing may catch this and go on."""


@dataclass
class Node:
    """A file (`names` is None) or a folder; `pending` are the changes since its last fsync."""

    mode: int
    now: bytearray = field(default_factory=bytearray)
    durable: bytes = b""
    pending: list[Change] = field(default_factory=list)
    names: dict[str, int] | None = None
    durable_names: dict[str, int] = field(default_factory=dict)
    pending_names: list[dict[str, int | None]] = field(default_factory=list)


@dataclass(frozen=True)
class Loss:
    """What a power cut does to unflushed data and names: each piece is `pick`ed to be kept, lost or zeroed."""

    sector: int = 512
    data: Callable[[], str] = lambda: "lost"
    name: Callable[[], bool] = lambda: False

    @staticmethod
    def all_of(data: str, *, names: bool, sector: int = 512) -> Loss:
        return Loss(sector, lambda: data, lambda: names)

    @staticmethod
    def seeded(rng: random.Random, sector: int) -> Loss:
        return Loss(sector, lambda: rng.choice(["kept", "lost", "zeroed"]), lambda: rng.random() < 0.5)


EVERY_SAME = [Loss.all_of(data, names=names) for data in ("kept", "lost", "zeroed") for names in (True, False)]


class FaultyDisk:
    """The `Files` of the ledger, in memory.

    `fault(number, name)` is asked before the call of that number: it may raise, or return "short" to make a
    write take one byte only. `unflushed` holds the places in the code ("store.py:_make_durable") whose
    fsync is left out; `flushes` collects those that ran.
    """

    def __init__(self) -> None:
        self.nodes: dict[int, Node] = {0: Node(0o755, names={})}
        self.handles: dict[int, int] = {}
        self.locks: set[Path] = set()
        self.calls = 0
        self.dead = False
        self.fault: Callable[[int, str], str | None] = lambda _number, _name: None
        self.unflushed: frozenset[str] = frozenset()
        self.flushes: set[str] = set()
        self._next = 1

    # the protocol

    def create(self, path: Path, mode: int) -> int:
        self._call("create")
        names = self._folder(path.parent)
        if path.name in names:
            raise FileExistsError(errno.EEXIST, "exists", str(path))
        return self._handle(self._link(path, Node(mode)))

    def open(self, path: Path) -> int:
        self._call("open")
        return self._handle(self._find(path))

    def write(self, handle: int, data: bytes, offset: int) -> int:
        try:
            verdict = self._call("write")
        except PowerCut:
            self._write(handle, data[: len(data) // 2], offset)
            raise
        if verdict == "short":
            data = data[:1]
        self._write(handle, data, offset)
        return len(data)

    def truncate(self, handle: int, size: int) -> None:
        self._call("truncate")
        node = self.nodes[self.handles[handle]]
        node.pending.append(("cut", size, b""))
        _change(node.now, ("cut", size, b""))

    def fsync(self, handle: int) -> None:
        self._call("fsync")
        if self._flushes():
            node = self.nodes[self.handles[handle]]
            node.durable = bytes(node.now)
            node.pending.clear()

    def close(self, handle: int) -> None:
        self._call("close")
        del self.handles[handle]

    def make_folder(self, path: Path, mode: int) -> None:
        self._call("make_folder")
        if path.name in self._folder(path.parent):
            raise FileExistsError(errno.EEXIST, "exists", str(path))
        self._link(path, Node(mode, names={}))

    def fsync_folder(self, path: Path) -> None:
        self._call("fsync_folder")
        if self._flushes():
            node = self.nodes[self._find(path)]
            assert node.names is not None
            node.durable_names = dict(node.names)
            node.pending_names.clear()

    def rename(self, path: Path, name: str) -> None:
        self._call("rename")
        self._names(path.parent, {path.name: None, name: self._find(path)})

    def unlink(self, path: Path) -> None:
        self._call("unlink")
        self._find(path)
        self._names(path.parent, {path.name: None})

    def read(self, path: Path) -> BinaryIO:
        self._call("read")
        return io.BytesIO(self.bytes_of(path))

    def names(self, path: Path) -> list[str]:
        self._call("names")
        return sorted(self._folder(path))

    def linked(self, path: Path) -> bool:
        del path
        return False

    def mode(self, path: Path) -> int:
        self._call("mode")
        return self.nodes[self._find(path)].mode

    def lock(self, path: Path, seconds: float) -> Callable[[], None]:
        self._call("lock")
        if path in self.locks:
            raise TimeoutError(errno.EAGAIN, "taken", str(path))
        self.locks.add(path)
        return lambda: self.locks.discard(path)

    # for the tests

    def bytes_of(self, path: Path) -> bytes:
        node = self.nodes[self._find(path)]
        if node.names is not None:
            raise IsADirectoryError(errno.EISDIR, "a folder", str(path))
        return bytes(node.now)

    def put(self, path: Path, data: bytes) -> None:
        """Make a file hold these bytes durably, as an attacker or an archive would."""
        node = self.nodes[self._find(path)] if path.name in self._folder(path.parent) else Node(0o644)
        node.now, node.durable, node.pending = bytearray(data), data, []
        if path.name not in self._folder(path.parent):
            self._link(path, node)
        self.settle()

    def files(self) -> dict[Path, bytes]:
        """Every file by its path."""
        found: dict[Path, bytes] = {}
        stack = [(Path("/"), 0)]
        while stack:
            path, number = stack.pop()
            node = self.nodes[number]
            if node.names is None:
                found[path] = bytes(node.now)
            else:
                stack += [(path / name, inner) for name, inner in node.names.items()]
        return found

    def settle(self) -> None:
        """Make all durable."""
        for node in self.nodes.values():
            node.durable, node.durable_names = bytes(node.now), dict(node.names or {})
            node.pending.clear()
            node.pending_names.clear()

    def after_power_cut(self, loss: Loss) -> FaultyDisk:
        """What is found when the machine starts again."""
        disk = FaultyDisk()
        disk.nodes = {number: _survivor(node, loss) for number, node in self.nodes.items()}
        disk._next = self._next
        return disk

    def copy(self) -> FaultyDisk:
        return self.after_power_cut(EVERY_SAME[0])

    # inside

    def _call(self, name: str) -> str | None:
        if self.dead:
            raise PowerCut
        number, self.calls = self.calls, self.calls + 1
        try:
            return self.fault(number, name)
        except PowerCut:
            self.dead = True
            raise

    def _flushes(self) -> bool:
        frame = traceback.extract_stack(limit=3)[0]
        place = f"{Path(frame.filename).name}:{frame.name}:{frame.line}"
        self.flushes.add(place)
        return place not in self.unflushed

    def _write(self, handle: int, data: bytes, offset: int) -> None:
        node = self.nodes[self.handles[handle]]
        node.pending.append(("write", offset, data))
        _change(node.now, ("write", offset, data))

    def _handle(self, number: int) -> int:
        self._next += 1
        self.handles[self._next] = number
        return self._next

    def _link(self, path: Path, node: Node) -> int:
        self._next += 1
        self.nodes[self._next] = node
        self._names(path.parent, {path.name: self._next})
        return self._next

    def _names(self, folder: Path, change: dict[str, int | None]) -> None:
        node = self.nodes[self._find(folder)]
        assert node.names is not None
        node.pending_names.append(change)
        _rename(node.names, change)

    def _find(self, path: Path) -> int:
        number = 0
        for part in path.parts[1:]:
            names = self.nodes[number].names
            if names is None:
                raise NotADirectoryError(errno.ENOTDIR, "not a folder", str(path))
            if part not in names:
                raise FileNotFoundError(errno.ENOENT, "not there", str(path))
            number = names[part]
        return number

    def _folder(self, path: Path) -> dict[str, int]:
        names = self.nodes[self._find(path)].names
        if names is None:
            raise NotADirectoryError(errno.ENOTDIR, "not a folder", str(path))
        return names


def failing_at(number: int, error: int | str, *, sticky: bool = False) -> Callable[[int, str], str | None]:
    """Return a fault: the call of that number (and, if sticky, every later one) fails with an errno or "short"."""

    def fault(call: int, _name: str) -> str | None:
        if call < number or (call > number and not sticky):
            return None
        if isinstance(error, int):
            raise OSError(error, os.strerror(error))
        return error

    return fault


def cutting_at(number: int) -> Callable[[int, str], str | None]:
    """Return a fault: power goes at the call of that number, in the middle of it if it is a write."""

    def fault(call: int, _name: str) -> str | None:
        if call >= number:
            raise PowerCut
        return None

    return fault


def _change(data: bytearray, change: Change) -> None:
    what, at, new = change
    if what == "cut":
        del data[at:]
        data.extend(bytes(at - len(data)))
    else:
        data.extend(bytes(max(0, at + len(new) - len(data))))
        data[at : at + len(new)] = new


def _rename(names: dict[str, int], change: dict[str, int | None]) -> None:
    for name, number in change.items():
        if number is None:
            names.pop(name, None)
        else:
            names[name] = number


def _survivor(node: Node, loss: Loss) -> Node:
    if node.names is not None:
        names = dict(node.durable_names)
        for change in node.pending_names:
            if loss.name():
                _rename(names, change)
        return Node(node.mode, names=names, durable_names=dict(names))
    data = bytearray(node.durable)
    for what, at, new in node.pending:
        if what == "cut":
            if loss.data() == "kept":
                _change(data, (what, at, new))
            continue
        start = 0
        while start < len(new):
            end = min(len(new), (at + start) // loss.sector * loss.sector + loss.sector - at)
            fate = loss.data()
            if at + start < len(node.durable) and end - start < loss.sector and fate == "zeroed":
                fate = "lost"
            if fate != "lost":
                piece = new[start:end] if fate == "kept" else bytes(end - start)
                _change(data, ("write", at + start, piece))
            start = end
    return Node(node.mode, now=data, durable=bytes(data))
