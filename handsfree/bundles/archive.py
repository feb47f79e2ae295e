"""A bundle as one file: a ZIP archive of an approved procedure, all that belongs to it, and the signed approval.

The archive is made alike to the byte each time, and read as something that anybody may have written: nothing but
the files that the approval names, each with its digest, within ceilings.
"""

from __future__ import annotations

import hashlib
import io
import lzma
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from handsfree.bundles.statement import LONGEST_STATEMENT, Approval, line_of, read_statement
from handsfree.bundles.trade_names import kept_prefix
from handsfree.problem import ExitCode, Problem
from handsfree.regular_files import open_regular

APPROVAL = "approval.json"
PROCEDURE, STORIES, SHEETS = "procedure", "stories", "sheets"
WORDS, LOCK = "words.json", "lock.txt"
ENDING = ".zip"

LARGEST_BUNDLE, LARGEST_FILE, MOST_FILES = 8 << 20, 2 << 20, 300
"""Bytes packed, bytes of one file unpacked, and files; the longest procedure that ships takes far less of each."""

_NAME = re.compile(rf"((?:{PROCEDURE}|{STORIES}|{SHEETS})/)?[A-Za-z0-9][A-Za-z0-9._-]{{0,99}}")
_DAMAGED = (
    *(zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError),
    *(OSError, ValueError, NotImplementedError, RuntimeError),
)
"""What the library raises of bytes that are no whole archive: its own error, or that of whatever unpacks them."""
_EPOCH = (1980, 1, 1, 0, 0, 0)
"""The earliest time that the format can hold (APPNOTE.TXT, 4.4.6): a bundle's own times stand in its approval."""


@dataclass(frozen=True)
class Bundle:
    """An approval whose signature holds, and the files that it names."""

    approval: Approval
    files: Mapping[str, bytes]

    @property
    def name(self) -> str:
        """How the file of the bundle is called."""
        return f"{self.approval.procedure}-{self.approval.version}{ENDING}"

    def of_trade(self) -> dict[str, str]:
        """Return the SHA-256 of each file of the author's own trade, by name; none of a trade that ships."""
        prefix = f"{PROCEDURE}/{kept_prefix(self.approval.trade)}"
        return {name: digest for name, digest in self.approval.files.items() if name.startswith(prefix)}

    @property
    def content(self) -> bytes:
        """The bytes of the archive."""
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, data in [(APPROVAL, line_of(self.approval)), *sorted(self.files.items())]:
                entry = zipfile.ZipInfo(name, _EPOCH)
                entry.compress_type = zipfile.ZIP_DEFLATED
                entry.external_attr = 0o644 << 16
                archive.writestr(entry, data)
        return packed.getvalue()

    @contextmanager
    def unpacked(self) -> Iterator[Path]:
        """Give the procedure's file in a folder that is gone afterwards, with whatever it includes beside it."""
        with TemporaryDirectory(prefix="handsfree-bundle-") as folder:
            for name, data in self.files.items():
                path = Path(folder, name)
                path.parent.mkdir(exist_ok=True)
                path.write_bytes(data)
            yield Path(folder, PROCEDURE, f"{self.approval.procedure}.yaml")


def read_bundle(path: Path) -> Bundle:
    """Return the bundle in a file; Problem when it cannot be read, or is no whole bundle that somebody signed."""
    try:
        with open_regular(path, through_links=True) as stream:
            data = stream.read(LARGEST_BUNDLE + 1)
    except OSError as error:
        raise Problem(f"this bundle cannot be read ({error.strerror})", where=str(path)) from error
    return bundle_of(data, str(path))


def bundle_of(data: bytes, where: str) -> Bundle:
    """Return the bundle that these bytes are; Problem as `read_bundle`."""
    if len(data) > LARGEST_BUNDLE:
        raise _none(where, "it is larger than any bundle")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            files = dict(_members(archive, where))
    except _DAMAGED as error:
        raise _none(where, "it is no ZIP archive, or a damaged one") from error
    approval = read_statement(Approval, files.pop(APPROVAL, b""), f"{where}: {APPROVAL}")
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
    if digests != approval.files:
        other = sorted(name for name, _ in digests.items() ^ approval.files.items())
        raise _none(where, f"{other[0]} is not as it was approved")
    if f"{PROCEDURE}/{approval.procedure}.yaml" not in files:
        raise _none(where, "it holds no procedure")
    return Bundle(approval, files)


def _members(archive: zipfile.ZipFile, where: str) -> Iterator[tuple[str, bytes]]:
    entries = archive.infolist()
    if len(entries) > MOST_FILES or len({one.filename for one in entries}) != len(entries):
        raise _none(where, "it holds more files than any bundle, or one twice")
    for entry in entries:
        most = LONGEST_STATEMENT if entry.filename == APPROVAL else LARGEST_FILE
        if not _NAME.fullmatch(entry.filename) or entry.file_size > most:
            raise _none(where, "it holds a file that no bundle has")
        with archive.open(entry) as stream:
            content = stream.read(most + 1)
        if len(content) > most:
            raise _none(where, "it holds a file that no bundle has")
        yield entry.filename, content


def _none(where: str, why: str) -> Problem:
    return Problem(f"this is no bundle: {why}", where=where, remedy="get it again", code=ExitCode.FAILED)
