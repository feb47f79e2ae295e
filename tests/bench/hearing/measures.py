"""What the bench counts, and how sure the counts are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.procedure.languages import english


@dataclass(frozen=True)
class Played:
    """One clip played to one ear at one ratio.

    `said` is empty when it was not for us, `heard` when it was not understood.
    """

    ear: str
    task: str
    ratio: float | None
    speaker: str
    said: tuple[str, ...]
    heard: tuple[str, ...]
    confidence: float
    guess: tuple[str, ...]
    at_once: bool
    stop: str | None
    after: float
    seconds: float
    length: float

    @property
    def right(self) -> bool:
        """The words that were said were heard, or nothing when nothing was for us.

        Whisper writes figures, so of it only the figures must agree: "59" is right for "five nine" too.
        """
        return self._agrees(self.heard)

    @property
    def guessed(self) -> bool:
        """The likeliest sentence of the grammar was what was said, understood or not."""
        return self._agrees(self.guess)

    @property
    def stopped_rightly(self) -> bool:
        """The work would stop, and for the hazard that was called, in whichever of its words."""
        return self.stop is not None and self.stop == english().hazard_of(" ".join(self.said))

    @property
    def lost_words(self) -> int:
        """How many words the best guess has wrong, too many or too few."""
        before = list(range(len(self.guess) + 1))
        for row, word in enumerate(self.said, 1):
            now = [row]
            for column, other in enumerate(self.guess, 1):
                now.append(min(before[column] + 1, now[-1] + 1, before[column - 1] + (word != other)))
            before = now
        return before[-1]

    def _agrees(self, words: tuple[str, ...]) -> bool:
        if self.ear == "whisper":
            return _figures(words) == _figures(self.said)
        return words == self.said


_ONES = {
    "zero": "0", "oh": "0", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6",
    "seven": "7", "eight": "8", "nine": "9",
}  # fmt: skip
_TEENS = {
    "ten": "10", "eleven": "11", "twelve": "12", "thirteen": "13", "fourteen": "14", "fifteen": "15",
    "sixteen": "16", "seventeen": "17", "eighteen": "18", "nineteen": "19",
}  # fmt: skip
_TENS = {
    "twenty": "2", "thirty": "3", "forty": "4", "fifty": "5", "sixty": "6", "seventy": "7", "eighty": "8",
    "ninety": "9",
}  # fmt: skip


def _figures(words: Sequence[str]) -> str:
    """Write number words as the figures that they could be written as, other words as they are."""
    text = ""
    for place, word in enumerate(words):
        if word in _TENS:
            following = words[place + 1] if place + 1 < len(words) else ""
            text += _TENS[word] + ("" if following in _ONES and _ONES[following] != "0" else "0")
        elif word in _TEENS:
            text += _TEENS[word]
        else:
            text += _ONES.get(word, f" {word} ")
    return text


def interval(count: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a share (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927, 209-212)."""
    if of == 0:
        return 0.0, 1.0
    z, share = 1.959964, count / of
    middle = share + z * z / (2 * of)
    spread = z * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return max(0.0, middle - spread) / (1 + z * z / of), (middle + spread) / (1 + z * z / of)


def told(count: int, of: int) -> str:
    """Return a share with its interval, as text."""
    low, high = interval(count, of)
    return f"{count}/{of} = {100 * count / max(1, of):.1f} % ({100 * low:.1f}-{100 * high:.1f})"


def wrong_at(played: Sequence[Played], answered: float) -> tuple[int, float]:
    """Return how many of the surest `answered` share are answered wrongly, and the least confidence among them.

    When fewer were understood at all, those count and the confidence is 0.
    """
    ranked = sorted(played, key=lambda one: (-bool(one.heard), -one.confidence))
    kept = [one for one in ranked[: math.ceil(answered * len(ranked))] if one.heard]
    return sum(not one.right for one in kept), min((one.confidence for one in kept), default=0.0)


def reliability(played: Sequence[Played], bins: int = 10) -> list[tuple[float, float, int]]:
    """Return, by bins of confidence, the mean confidence, the share that was right, and the count."""
    rows = []
    for number in range(bins):
        low, high = number / bins, (number + 1) / bins
        inside = [one for one in played if one.heard and (low < one.confidence <= high)]
        if inside:
            mean = sum(one.confidence for one in inside) / len(inside)
            rows.append((mean, sum(one.right for one in inside) / len(inside), len(inside)))
    return rows


def calibration_error(played: Sequence[Played]) -> float:
    """Return the expected calibration error: the mean distance of confidence from the share that was right."""
    rows = reliability(played)
    total = sum(count for _, _, count in rows)
    return sum(count * abs(mean - share) for mean, share, count in rows) / max(1, total)
