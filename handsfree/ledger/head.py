"""How much there is of a record, short enough to say over the telephone."""

from __future__ import annotations

import re
from dataclasses import dataclass

from handsfree.problem import Problem

_GROUPS, _GROUP_DIGITS = 4, 3


@dataclass(frozen=True)
class Head:
    """The count of entries and the digest of the last line: together they fix the whole record.

    A chain alone cannot see that its end was cut off; a head kept elsewhere can.
    """

    count: int
    digest: str

    @property
    def checksum(self) -> str:
        """Twelve digits in groups of three: the first 64 bits of the digest, modulo a million million."""
        return checksum_of(self.digest)


def checksum_of(digest: str) -> str:
    """Return the checksum of a digest (hex), as a head prints it."""
    number = int(digest[:16], 16) % 10 ** (_GROUPS * _GROUP_DIGITS)
    digits = f"{number:0{_GROUPS * _GROUP_DIGITS}d}"
    return " ".join(digits[at : at + _GROUP_DIGITS] for at in range(0, len(digits), _GROUP_DIGITS))


def given_head(text: str) -> tuple[int, str]:
    """Return the count and the checksum of a head that was written down as "214: 481 204 077 316".

    Raises Problem when the text is not of that form.
    """
    found = re.fullmatch(r"\s*(\d+)\D+((?:\d\D*){12})", text, re.ASCII)
    if not found:
        raise Problem(f"{text!r} is not a count and a checksum", remedy='write it like "214: 481 204 077 316"')
    digits = re.sub(r"\D", "", found[2])
    return int(found[1]), " ".join(digits[at : at + 3] for at in range(0, 12, 3))
