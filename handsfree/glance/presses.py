"""Who may press: each press carries a count that only grows and a code over both, made with the key code.

So the key code never travels, and what was overheard cannot be sent again. `page/sha256.js` makes the same codes.
"""

from __future__ import annotations

import hashlib
import hmac
from typing import Literal

FOLLOW = "follow"
"""Stands for a key when the holder of the key code asks for the news."""
SOUND = "sound"
"""Likewise when they ask to open the link for sound."""
LONGEST_COUNT = 12
"""Digits."""


def code_of(key_code: str, count: int, key: str) -> str:
    """Return the code of a press: HMAC-SHA-256 (RFC 2104) over count and key, in hexadecimal."""
    return hmac.new(key_code.encode(), f"{count} {key}".encode(), hashlib.sha256).hexdigest()


class Turnstile:
    """Lets each press in once: its count must be above all that were taken before."""

    def __init__(self, key_code: str, count: int = 0) -> None:
        self._key_code = key_code
        self.count = count
        """The last that was taken."""
        self.code = ""
        """Its code: only who sent that press knows that it was theirs, since a count may be anybody's."""

    def takes(self, count: str, key: str, code: str) -> Literal["taken", "replayed", "refused"]:
        """Take a press in, if its code is right and its count is new."""
        if not (count.isascii() and count.isdecimal() and len(count) <= LONGEST_COUNT):
            return "refused"
        right = code_of(self._key_code, int(count), key)
        if not hmac.compare_digest(right.encode(), code.encode()):
            return "refused"
        if int(count) <= self.count:
            return "replayed"
        self.count, self.code = int(count), code
        return "taken"
