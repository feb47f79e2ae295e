"""Verdicts near a limit: within, outside, too close to call, each with its probability.

Source: JCGM 106:2012 (conformity probability 7, guard bands 8.3), normal errors, no prior knowledge of the
value. Probabilities are rounded to 0.001 before they decide anything.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from handsfree.measurement.distributions import normal_cumulative, rounded
from handsfree.measurement.uncertainty import combined, of_difference
from handsfree.problem import Problem

PROBABILITY_STEP = Decimal("0.001")
Outcome = Literal["within", "outside", "too close to call"]


@dataclass(frozen=True)
class Band:
    """The values allowed; either edge may be open. An edge itself is allowed."""

    low: Decimal | None
    high: Decimal | None
    source: str

    def __post_init__(self) -> None:
        edges = [edge for edge in (self.low, self.high) if edge is not None]
        if not edges:
            raise Problem("a band needs at least one limit", remedy="see the maker's manual")
        if not all(edge.is_finite() for edge in edges):
            raise Problem(f"a limit of the band is not a number: {self}")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise Problem(f"the band is empty: {self.low} is not below {self.high}")
        if not self.source:
            raise Problem(f"the band {self} names no source")

    def holds(self, value: Decimal) -> bool:
        """Say whether the value lies in the band, edges included."""
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)

    def __str__(self) -> str:
        if self.low is None:
            return f"at most {self.high}"
        return f"at least {self.low}" if self.high is None else f"{self.low} to {self.high}"


@dataclass(frozen=True)
class DecisionRule:
    """How a probability becomes a verdict."""

    name: str
    required: Decimal
    """Conformity probability from which 'within' counts as demonstrated; below 1 - required it is outside."""
    passes_undemonstrated: bool
    """Whether a value in the band, though not demonstrated, passes (and is marked so)."""

    def __post_init__(self) -> None:
        if not Decimal("0.5") < self.required < 1:
            raise Problem(f"a decision rule requires a probability between 0.5 and 1, not {self.required}")


IN_BAND_PASSES = DecisionRule(
    "simple acceptance (JCGM 106 8.2), demonstrated from 0.950", Decimal("0.950"), passes_undemonstrated=True
)
"""For the maker's setting bands: in band but not demonstrated passes, marked so."""

GUARDED = DecisionRule(
    "guarded acceptance (JCGM 106 8.3.2; ILAC-G8, w = U), at least 0.975",
    Decimal("0.975"),
    passes_undemonstrated=False,
)
"""For CO limits and other hazards: inside the guard band fails."""


@dataclass(frozen=True)
class Verdict:
    """What was decided, how surely, by which rule and from which numbers."""

    outcome: Outcome
    demonstrated: bool
    """The outcome 'within' is shown at the rule's probability."""
    probability: Decimal
    """That the true value lies in the band, rounded to 0.001."""
    passes: bool
    rule: str
    numbers: dict[str, str] = field(default_factory=dict)

    def sentence(self) -> str:
        """Return the verdict in the words of the record."""
        if self.passes and not self.demonstrated:
            return f"in band, not demonstrated (probability {self.probability})"
        return f"{self.outcome} (probability {self.probability})"


def conformity_probability(value: float, band: Band, standard_uncertainty: float) -> float:
    """Return the probability that the true value lies in the band, errors normal around the value."""
    if standard_uncertainty == 0:
        return float(band.holds(Decimal(repr(value))))
    below = 1.0 if band.high is None else normal_cumulative((float(band.high) - value) / standard_uncertainty)
    under = 0.0 if band.low is None else normal_cumulative((float(band.low) - value) / standard_uncertainty)
    return below - under


def judge(
    value: Decimal, band: Band, standard_uncertainty: Decimal | float, rule: DecisionRule = IN_BAND_PASSES
) -> Verdict:
    """Judge one value against a band; a value that is not finite is a Problem."""
    uncertainty = float(standard_uncertainty)
    if not value.is_finite():
        raise Problem(f"a value to be judged is not a number: {value}")
    if not 0 <= uncertainty < float("inf"):
        raise Problem(f"a standard uncertainty is a number from 0 up, not {standard_uncertainty}")
    probability = rounded(conformity_probability(float(value), band, uncertainty), PROBABILITY_STEP)
    outcome: Outcome = "too close to call"
    if probability >= rule.required and band.holds(value):
        outcome = "within"
    elif probability <= 1 - rule.required and not band.holds(value):
        outcome = "outside"
    demonstrated = outcome == "within"
    return Verdict(
        outcome,
        demonstrated,
        probability,
        demonstrated or (rule.passes_undemonstrated and band.holds(value)),
        rule.name,
        {
            "value": f"{value:f}",
            "band": str(band),
            "source": band.source,
            "standard uncertainty": f"{uncertainty:.4f}",
            "probability within": f"{probability}",
        },
    )


@dataclass(frozen=True)
class Measured:
    """A value with its two kinds of standard uncertainty, kept apart for differences."""

    value: Decimal
    instrument: float
    """From the instrument's accuracy: shared by readings of one instrument on one visit."""
    own: float
    """From resolution and settling: each reading has its own."""

    @property
    def standard_uncertainty(self) -> float:
        """Return both together."""
        return combined(self.instrument, self.own)


ONE_INSTRUMENT = 0.9
"""Correlation of the accuracy errors of one instrument minutes apart: common practice, no source."""


def judge_difference(
    first: Measured,
    second: Measured,
    band: Band,
    rule: DecisionRule = IN_BAND_PASSES,
    correlation: float = ONE_INSTRUMENT,
) -> Verdict:
    """Judge first minus second against a band, say -0.2 to 0.2, or at least 0 for 'minimum not richer'.

    The accuracy errors of one instrument move both readings together, so they mostly cancel; treating them
    as independent would call every honest difference uncertain.
    """
    shared = of_difference(first.instrument, second.instrument, correlation)
    uncertainty = combined(shared, first.own, second.own)
    verdict = judge(first.value - second.value, band, uncertainty, rule)
    return Verdict(
        verdict.outcome,
        verdict.demonstrated,
        verdict.probability,
        verdict.passes,
        f"{verdict.rule}; errors of one instrument correlated {correlation:g}",
        {
            **verdict.numbers,
            "first": f"{first.value:f}",
            "second": f"{second.value:f}",
            "correlation": f"{correlation:g}",
        },
    )
