"""The sound units of one of our own acoustic models, and how the decoder numbers them.

Every phone of the dictionary exists in four word positions, so that word boundaries can be told in what
was decoded; silence is phone 1; the last four phones are the filler, by position, which stands for any
speech at all. `graph/phones.txt` of a model lists them; everything else follows by rule:

- each phone is one emitting state, entered once (`enter`) and then stayed in (`stay`);
- the decoder numbers these moves from 1 in pairs, stay before enter, one pair for each row of the
  acoustic model's table of (phone, output); a filler phone has one row for each phone it may stand for.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

POSITIONS: Final = ("B", "E", "I", "S")
"""Begin, end, inside, and alone in its word."""
_BOUNDARY: Final = {"B": "begin", "E": "end", "I": "internal", "S": "singleton"}
_SILENCE: Final = "SIL"
_FILLER: Final = "FILLER"


@dataclass(frozen=True)
class UnitLabels:
    """The two decoder labels of a unit: going into it (once) and staying in it."""

    enter: int
    stay: int


@dataclass(frozen=True)
class Units:
    """The phones of a model, in the order of its outputs (output 0 is blank, output 1 the first phone)."""

    phones: tuple[str, ...]

    @property
    def silence(self) -> UnitLabels:
        """Return the moves of silence."""
        return _move(1)

    def phone(self, phone: str, position: str) -> UnitLabels:
        """Return the moves of a phone in a word position (one of `POSITIONS`)."""
        return _move(2 + len(POSITIONS) * self.phones.index(phone) + POSITIONS.index(position))

    def filler(self, phone: str, position: str) -> UnitLabels:
        """Return the moves of the filler standing for that phone in a word position."""
        first = 2 + len(POSITIONS) * len(self.phones)
        return _move(first + len(self.phones) * POSITIONS.index(position) + self.phones.index(phone))

    def names(self) -> tuple[str, ...]:
        """Return the decoder's phones in order; the first is number 1."""
        return (_SILENCE, *(f"{phone}_{at}" for phone in (*self.phones, _FILLER) for at in POSITIONS))

    def outputs(self) -> tuple[tuple[int, int], ...]:
        """Return the acoustic model's table: (phone number, its output) in the decoder's order."""
        plain = [
            (2 + len(POSITIONS) * n + at, n + 1) for n in range(len(self.phones)) for at in range(len(POSITIONS))
        ]
        first = 2 + len(POSITIONS) * len(self.phones)
        filler = [(first + at, n + 1) for at in range(len(POSITIONS)) for n in range(len(self.phones))]
        return ((1, 0), *plain, *filler)

    def phones_text(self) -> str:
        """Return the content of `graph/phones.txt`."""
        return "<eps> 0\n" + "".join(f"{name} {number}\n" for number, name in enumerate(self.names(), 1))

    def boundaries_text(self) -> str:
        """Return the content of `graph/phones/word_boundary.int`."""
        lines = [f"{number} {_BOUNDARY[name[-1]]}\n" for number, name in enumerate(self.names()[1:], 2)]
        return "1 nonword\n" + "".join(lines)

    @classmethod
    def of_model(cls, folder: Path) -> Units | None:
        """Read the units of a model folder; None when the model is not built our way."""
        listing = folder / "graph" / "phones.txt"
        if not listing.is_file():
            return None
        names = [line.split()[0] for line in listing.read_text(encoding="utf-8").splitlines() if line][1:]
        phones = tuple(name.removesuffix("_B") for name in names if name.endswith("_B"))[:-1]
        units = cls(phones)
        return units if tuple(names) == units.names() else None


def _move(row: int) -> UnitLabels:
    return UnitLabels(enter=2 * row, stay=2 * row - 1)
