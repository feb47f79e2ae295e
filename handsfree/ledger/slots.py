"""A small secret kept twice in one file, written over in place, so no power cut loses it or keeps an old one.

The file has two slots of 4,096 bytes. A change overwrites one slot, waits for the disk, then overwrites the
other and waits again: at every instant one slot is whole, and afterwards neither holds the old value.
Overwriting in place erases on a magnetic disk; flash storage writes elsewhere and keeps old pages until
they are collected, which no program can prevent.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from handsfree.ledger.files import Files, contents, put, write_whole
from handsfree.problem import Problem

SLOT = 4096
"""Bytes of one slot: the largest sector in use, so a torn write spoils one slot only."""


class Slots:
    """The two-slot file at a path; the value is a JSON object whose integer member `turn` grows with each."""

    def __init__(self, files: Files, path: Path) -> None:
        self._files, self._path = files, path

    def create(self, value: Mapping[str, Any]) -> None:
        """Make the file, readable by its owner only, with durable contents and name."""
        put(self._files, self._path, _slot(value) * 2, mode=0o600)

    def read(self) -> dict[str, Any]:
        """Return the newest whole value.

        Raises FileNotFoundError when there is no file, and Problem when others may read it or when neither
        slot is whole.
        """
        data = contents(self._files, self._path)
        if self._files.mode(self._path) & 0o077:
            raise Problem(
                "others than its owner may read this key",
                where=str(self._path),
                remedy="give it owner-only permission (chmod 600) and consider the key stolen",
            )
        values = [value for start in (0, SLOT) if (value := _value(data[start : start + SLOT])) is not None]
        if not values:
            raise Problem("the key in this file is damaged", where=str(self._path), remedy="start a new visit")
        newest: dict[str, Any] = max(values, key=lambda value: value["turn"])
        return newest

    def settle(self) -> dict[str, Any]:
        """Return the newest value after making both slots hold it: the first thing a writer does."""
        newest = self.read()
        data = contents(self._files, self._path)
        stale = [start for start in (0, SLOT) if _value(data[start : start + SLOT]) != newest]
        self._overwrite(newest, stale)
        return newest

    def write(self, value: Mapping[str, Any]) -> None:
        """Replace the value; when this returns, the old one is overwritten and the new one durable.

        The caller has called `create` or `settle` before, and holds the lock.
        """
        self._overwrite(value, [0, SLOT])

    def _overwrite(self, value: Mapping[str, Any], starts: list[int]) -> None:
        handle = self._files.open(self._path)
        try:
            for start in starts:
                write_whole(self._files, handle, _slot(value), start)
                self._files.fsync(handle)
        finally:
            self._files.close(handle)


def _slot(value: Mapping[str, Any]) -> bytes:
    text = json.dumps(value, sort_keys=True)
    check = hashlib.sha256(text.encode()).hexdigest()
    return f"{check} {text}\n".encode().ljust(SLOT, b"\0")


def _value(slot: bytes) -> dict[str, Any] | None:
    check, _, text = slot.rstrip(b"\0").removesuffix(b"\n").partition(b" ")
    if hashlib.sha256(text).hexdigest().encode() != check or not text:
        return None
    value: dict[str, Any] = json.loads(text)
    return value
