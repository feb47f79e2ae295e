"""What visits at random call, where a trade's quantities are more than usual and unusual values one by one."""

from __future__ import annotations

import random
from dataclasses import dataclass
from decimal import Decimal

from handsfree.trades.sheets import Sheets


@dataclass(frozen=True)
class Chance:
    """How a visit at random goes: its dice, how often a value is unusual, and whether it always lies off."""

    dice: random.Random
    unusual: float
    always_off: Decimal | None = None
    """How far every value lies off what is allowed; None where only chance does it."""


@dataclass(frozen=True)
class Inventing:
    """How readings and sheets are invented. As it stands here nothing is tied, and sheets stay as they are."""

    tied: frozenset[str] = frozenset()
    """Quantities of one set that follow from one cause, so that they can all be true."""
    step: Decimal = Decimal(0)
    """How far the cause moves from set to set while it has not settled."""

    def cause(self, sheets: Sheets, rate: str | None, chance: Chance) -> Decimal:
        """Return the cause of a set at a rate, in the middle of what is allowed mostly."""
        raise NotImplementedError

    def reading(self, sheets: Sheets, quantity: str, cause: Decimal) -> Decimal:
        """Return what is read of a tied quantity."""
        raise NotImplementedError

    def sheets(self, sheets: Sheets, dice: random.Random) -> Sheets:
        """Return the sheets of one visit: on some of them, some of what may be missing is missing."""
        del dice
        return sheets
