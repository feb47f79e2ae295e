"""The trades whose sheets are classes of their own, since they hold more than plain facts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from handsfree.trades.combustion.sheets import CombustionSheets
from handsfree.trades.sheets import Sheets

TYPED: Final[Mapping[str, type[Sheets]]] = {"combustion": CombustionSheets}
