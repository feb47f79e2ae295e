"""A figure that a trade works out from readings for those who keep the papers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """One figure: never without its unit (UCUM; "1" for a ratio) and where it comes from."""

    says: str
    value: str
    unit: str
    source: str
