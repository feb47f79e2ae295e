"""The calculations a verdict gate may name: their inputs and outcomes. The session carries them out.

Kept as data here, so that a procedure can be proven without any arithmetic; a test holds this table and
the session's functions together.
"""

from __future__ import annotations

from dataclasses import dataclass

WITHIN = "within"
OUTSIDE = "outside"
TOO_CLOSE = "too-close"
NO_LIMIT = "no-limit"
MISSING = "missing"
CARBON_MONOXIDE_HIGH = "carbon-monoxide-high"
FIND_SOURCE = "find-source"


@dataclass(frozen=True)
class Signature:
    """What a calculation reads and what it can answer."""

    says: str
    """What it judges, in a sentence."""
    inputs: dict[str, tuple[str, ...]]
    """Input name -> the quantities it reads from the readings kept there."""
    outcomes: tuple[str, ...]
    rate: bool = False
    """Whether the gate must name a rate."""
    limits: bool = False
    """Whether the gate itself holds the limits; they then name the quantity that is read."""


_SET = ("co2", "o2", "co")

CALCULATIONS: dict[str, Signature] = {
    "instrument-in-date": Signature(
        "Whether the analyser's calibration covers the day of the visit.", {}, (WITHIN, OUTSIDE)
    ),
    "ambient-clear": Signature(
        "Whether carbon monoxide in the room allows work to go on.",
        {"readings": ("ambient_co",)},
        (WITHIN, FIND_SOURCE, MISSING),
    ),
    "combustion-at-rate": Signature(
        "Whether CO2 is in the maker's band with O2 and CO taken in the same sets.",
        {"readings": _SET},
        (WITHIN, OUTSIDE, TOO_CLOSE, CARBON_MONOXIDE_HIGH, NO_LIMIT, MISSING),
        rate=True,
    ),
    "rates-compared": Signature(
        "Whether the two rates keep the maker's rule between them.",
        {"maximum": ("co2",), "minimum": ("co2",)},
        (WITHIN, OUTSIDE, TOO_CLOSE, NO_LIMIT, MISSING),
    ),
    "passes-agree": Signature(
        "Whether two consecutive passes at one rate give the same CO2 within the instrument's repeatability.",
        {"first": ("co2",), "second": ("co2",)},
        (WITHIN, OUTSIDE, MISSING),
    ),
    "supply-pressure": Signature(
        "Whether standing and working pressure are inside the maker's plate.",
        {"standing": ("standing_pressure",), "working": ("working_pressure",)},
        (WITHIN, OUTSIDE, NO_LIMIT, MISSING),
    ),
    "gas-input": Signature(
        "Whether the timed heat input agrees with the rated input, on one basis.",
        {"timing": ("gas_volume_metric", "meter_time")},
        (WITHIN, OUTSIDE, TOO_CLOSE, NO_LIMIT, MISSING),
        rate=True,
    ),
    "reading-in-limits": Signature(
        "Whether a reading keeps the limits written in the gate; its own accuracy counts when it is given.",
        {"readings": ()},
        (WITHIN, OUTSIDE, TOO_CLOSE, MISSING),
        limits=True,
    ),
    "air-duct-clear": Signature(
        "Whether the air duct is free of products: O2 at least 20.6 %, CO2 at most 0.2 %.",
        {"readings": ("air_duct_o2", "air_duct_co2")},
        (WITHIN, OUTSIDE, MISSING),
    ),
}
