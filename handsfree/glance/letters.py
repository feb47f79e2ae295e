"""Big letters out of block characters, four pixels to a cell, for a terminal read from two metres away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources

PIXELS_WIDE, PIXELS_HIGH = 5, 7
_QUADRANTS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
"""By the bits of upper left, upper right, lower left, lower right (1, 2, 4, 8)."""


@dataclass(frozen=True)
class Size:
    """How many half cells a pixel is wide and high."""

    across: int
    down: int

    @property
    def columns(self) -> int:
        """The cells a letter takes with the space after it."""
        return (PIXELS_WIDE + 1) * self.across // 2

    @property
    def rows(self) -> int:
        """The cells a letter takes with the space below it."""
        return (PIXELS_HIGH + 1) * self.down // 2


SIZES = (Size(6, 4), Size(4, 3), Size(4, 2), Size(3, 2), Size(2, 2), Size(2, 1), Size(1, 1))
"""The largest first; none narrower than a letter can bear."""


@cache
def _glyphs() -> dict[str, tuple[str, ...]]:
    lines = resources.files(__package__).joinpath("letters.txt").read_text("utf-8").splitlines()
    found: dict[str, tuple[str, ...]] = {" ": (".....",) * PIXELS_HIGH}
    for top in range(0, len(lines), PIXELS_HIGH + 2):
        for column in range(0, len(lines[top]), PIXELS_WIDE + 1):
            rows = lines[top + 1 : top + 1 + PIXELS_HIGH]
            found[lines[top][column]] = tuple(row[column : column + PIXELS_WIDE] for row in rows)
    return found


@lru_cache(maxsize=256)  # most of a picture stays from one to the next
def big(text: str, size: Size) -> tuple[str, ...]:
    """Return the rows of one line of text; a character without a letter of ours becomes a question mark."""
    glyphs = _glyphs()
    drawn = [glyphs.get(character, glyphs["?"]) for character in text.upper()]
    pixels = [".".join(glyph[row] for glyph in drawn) + "." for row in range(PIXELS_HIGH)] + [""]
    pixels[-1] = "." * len(pixels[0])
    lit = [[pixel == "#" for pixel in row for _ in range(size.across)] for row in pixels for _ in range(size.down)]
    return tuple(
        "".join(_cell(lit[row], lit[row + 1], column) for column in range(0, len(lit[row]) - 1, 2)).ljust(
            size.columns * len(text)
        )
        for row in range(0, len(lit) - 1, 2)
    )


def _cell(upper: Sequence[bool], lower: Sequence[bool], column: int) -> str:
    bits = (upper[column], upper[column + 1], lower[column], lower[column + 1])
    return _QUADRANTS[sum(1 << place for place, bit in enumerate(bits) if bit)]


def wrapped(text: str, most: int) -> list[str] | None:
    """Return the text in lines of at most so many letters, broken between words; None when a word is longer."""
    lines = [""]
    for word in text.split():
        if len(word) > most:
            return None
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def drawn(text: str, width: int, height: int) -> list[str] | None:
    """Return the text in the largest letters that fit into so many cells; None when none do."""
    for size in SIZES:
        lines = wrapped(text, width // size.columns)
        if lines is not None and len(lines) * size.rows <= height:
            return [row for line in lines for row in big(line, size)]
    return None


def largest(text: str, width: int, height: int) -> list[str]:
    """Return the text in the largest letters that fit into so many cells; in plain ones when none do."""
    lines = wrapped(text, width) or [text[:width]]
    return drawn(text, width, height) or [line.upper() for line in lines[: max(1, height)]]
