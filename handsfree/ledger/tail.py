"""What a power cut can leave at the end of a file, told apart from what only a hand can."""

from __future__ import annotations

from io import BytesIO

from handsfree.ledger.chain import Broken, Link
from handsfree.ledger.files import SECTOR


def left_by_crash(tail: bytes, offset: int, link: Link) -> bool:
    """Say whether the bytes after the last whole batch may be what a crash left of one more batch.

    `offset` is where the tail starts in the file and `link` what would have to follow. A crash leaves a
    beginning of the batch, or the batch with whole sectors still empty; anything else was done by
    hand, and so was anything after a close.
    """
    if link.closed:
        return False
    if _has_empty_sector(tail, offset):
        return _is_one_batch(tail)
    for line in BytesIO(tail):
        if not line.endswith(b"\n"):
            return _begins_entry(line, link)
        try:
            _, link = link.follow(line[:-1])
        except Broken:
            return False
    return True


def _has_empty_sector(tail: bytes, offset: int) -> bool:
    """Say whether zeros fill at least one sector, or the part of one that lies in the tail, and only such."""
    start, found = 0, False
    while start < len(tail):
        end = min(len(tail), (offset + start) // SECTOR * SECTOR + SECTOR - offset)
        piece = tail[start:end]
        if b"\0" in piece:
            if piece.strip(b"\0"):
                return False
            found = True
        start = end
    return found


def _is_one_batch(tail: bytes) -> bool:
    """Say whether no whole line but the last ends a batch."""
    before = tail.removesuffix(b"\n").split(b"\n")[:-1]
    return not any(line.endswith(b'"to_come":0}') for line in before)


def _begins_entry(line: bytes, link: Link) -> bool:
    """Say whether a line without line feed may be the beginning of the entry that would follow."""
    try:
        line.decode()
    except UnicodeDecodeError as error:
        if error.end != len(line) or error.reason != "unexpected end of data":
            return False
    expected = b'{"at":"'
    if not expected.startswith(line[: len(expected)]) or min(line) < ord(" "):
        return False
    open_objects, in_text, escaped = 0, False, False
    for position, byte in enumerate(line):
        if in_text:
            in_text = escaped or byte != ord('"')
            escaped = byte == ord("\\") and not escaped
        elif byte == ord('"'):
            in_text = True
        elif byte == ord("{"):
            open_objects += 1
        elif byte == ord("}"):
            open_objects -= 1
            if not open_objects:
                return position == len(line) - 1 and link.allows(line)
    return True
