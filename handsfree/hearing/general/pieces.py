"""The pieces of words in which the general recogniser reads and writes, as its own list gives them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

BEGIN: Final = 1
END: Final = 2
_GAP: Final = "\u2581"
"""How the list writes a space."""
_BYTES: Final = range(3, 259)
"""The pieces that stand for one byte each, for what no other piece can write."""
_LONG: Final = 128
"""A length of this and more takes two bytes."""


class Pieces:
    """A list of pieces: the number of a piece is also its rank, since the list is in the order of merging.

    `content` holds each piece after its length: one byte, or two for lengths of 128 and more. Raises ValueError
    when that is not what it holds.
    """

    def __init__(self, content: bytes) -> None:
        self._texts: list[bytes] = []
        at = 0
        while at < len(content):
            length = content[at]
            at += 1
            if length >= _LONG:
                length += _LONG * content[at] - _LONG
                at += 1
            self._texts.append(content[at : at + length])
            at += length
        if at != len(content) or len(self._texts) <= _BYTES[-1]:
            message = "this is no list of pieces"
            raise ValueError(message)
        self._numbers = {
            text.decode("utf-8"): number
            for number, text in enumerate(self._texts)
            if number > _BYTES[-1] and _readable(text)
        }
        if any(_GAP in text.lstrip(_GAP) for text in self._numbers):
            message = "a piece goes on beyond a space"
            raise ValueError(message)

    def of(self, text: str) -> tuple[int, ...]:
        """Return the numbers of the pieces of a text, joined in the order of their ranks (byte-pair encoding).

        No piece goes on beyond a space, so each word stands by itself.
        """
        words = re.findall(f"{_GAP}+[^{_GAP}]*", _GAP + text.replace(" ", _GAP))
        return tuple(number for word in words for number in self._of(word))

    @lru_cache(maxsize=2_000)  # noqa: B019 - as long-lived as the list
    def _of(self, word: str) -> tuple[int, ...]:
        parts = list(word)
        while True:
            joinable = [
                (rank, at)
                for at in range(len(parts) - 1)
                if (rank := self._numbers.get(parts[at] + parts[at + 1])) is not None
            ]
            if not joinable:
                break
            _, at = min(joinable)
            parts[at : at + 2] = [parts[at] + parts[at + 1]]
        numbers: list[int] = []
        for part in parts:
            known = self._numbers.get(part)
            numbers += [_BYTES[byte] for byte in part.encode()] if known is None else [known]
        return tuple(numbers)

    def text(self, numbers: Sequence[int]) -> str:
        """Return what a sequence of pieces writes, without its marks of beginning and end."""
        written = b"".join(self._bytes(number) for number in numbers if BEGIN != number != END)
        return written.decode("utf-8", errors="replace").replace(_GAP, " ").strip()

    def _bytes(self, number: int) -> bytes:
        if number in _BYTES:
            return bytes([number - _BYTES[0]])
        return self._texts[number] if number < len(self._texts) else b""


def _readable(text: bytes) -> bool:
    try:
        text.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True
