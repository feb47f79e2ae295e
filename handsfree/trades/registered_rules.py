"""The trades that bring rules of their own in Python; every other trade is judged by the desk's rules alone."""

from __future__ import annotations

from collections.abc import Mapping

from handsfree.trades.combustion import supervision as combustion
from handsfree.trades.supervision import OwnRules

OWN_RULES: Mapping[str, OwnRules] = {
    "combustion": OwnRules(combustion.RULES, combustion.derived),
}
