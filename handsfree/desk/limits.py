"""The band that a reading is held to: the maker's from the sheets, or one written in the procedure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from handsfree.desk.evidence import Evidence
from handsfree.desk.forms import Axis
from handsfree.desk.measured import Group


@dataclass(frozen=True)
class StatedBand:
    """Two edges, either of them open, and the sentence that tells them."""

    low: Decimal | None
    high: Decimal | None
    says: str


def band_on(evidence: Evidence, axis: Axis, group: Group) -> StatedBand | None:
    """Return the band on an axis where a group was read; None when there is none."""
    own = evidence.recorded.limits_on(axis.quantity, group.kept_at)
    if own is not None:
        low, high = getattr(own, "low", None), getattr(own, "high", None)
        return StatedBand(low, high, f"limits: {_edges(low, high)}, {getattr(own, 'source', '')}")
    return makers_band(evidence, axis, group.rate)


def makers_band(evidence: Evidence, axis: Axis, rate: str = "") -> StatedBand | None:
    """Return the maker's band for an axis, of this rate where the sheets give one for each; None for none."""
    found = evidence.sheet(axis.maker_band) if axis.maker_band else None
    if isinstance(found, Mapping):
        found = found.get(rate)
    if found is None:
        return None
    low, high = getattr(found, "low", None), getattr(found, "high", None)
    at = f" at {rate}" if rate else ""
    return StatedBand(low, high, f"maker's band{at}: {_edges(low, high)}, page {getattr(found, 'page', '')}")


def _edges(low: Decimal | None, high: Decimal | None) -> str:
    return f"{'no lower edge' if low is None else low} to {'no upper edge' if high is None else high}"
