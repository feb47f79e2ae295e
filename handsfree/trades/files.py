"""What a trade's own files say: its name, its rules for any moment, and the facts of its quantities."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, RootModel, model_validator

from handsfree.blocks import Block, Exact, FieldName, FieldNames, Name, as_tuple
from handsfree.units import dimension


class StopBlock(Block):
    """An upper stop limit of one quantity, which the maker gives for each appliance."""

    quantity: FieldName
    above: str = Field(pattern=r"^(appliance|job)(\.[a-z_]+)+$")
    """Where the sheets hold the limit, in the quantity's unit; a sheet without one stops nothing."""
    source: str = Field(min_length=3)


class TradeFile(Block):
    """`trade.yaml`: what is true of the trade as a whole."""

    handsfree: Literal[1]
    trade: Name
    """Its name; its folder is called the same."""
    title: str = Field(min_length=3, max_length=60)
    """What a visit of it is called, as a heading: "Combustion set-up"."""
    fires: bool
    """Whether anything may be firing. Where nothing does, no gate may say `firing`."""
    taken_back: FieldNames = ()
    """Quantities that "was wrong" takes back by their name at any moment."""
    over_range: FieldNames = ()
    """Quantities whose "over range" is understood at any moment, unasked."""

    stops: dict[Name, StopBlock] = Field(default_factory=dict)
    """Where readings stop the work, by the name of the limit; the trade's words say what is then done."""

    @property
    def at_any_moment(self) -> frozenset[str]:
        """Quantities that are understood without being asked for; every language has words for them."""
        return frozenset({*self.taken_back, *self.over_range})


class ExpectedBlock(Block):
    """Where readings lie when nothing is unusual; one outside is kept only by a second confirmation."""

    low: Exact | None = None
    high: Exact | None = None
    source: str = Field(min_length=3)

    @model_validator(mode="after")
    def _ordered(self) -> ExpectedBlock:
        if self.low is None and self.high is None:
            raise ValueError("give low, high or both")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("low must be below high")
        return self


class DriftBlock(Block):
    """That a reading is told beside what the visit before left, and from which change on that is unusual."""

    most: Exact | None = Field(default=None, gt=0)
    """The largest usual change, either way, in the quantity's unit; without it no change is called unusual."""
    source: str = Field(min_length=3)


class QuantityFacts(Block):
    """What is the same in every language of something that can be read."""

    unit: str = Field(min_length=1)
    """Its UCUM code."""
    decimals: int = Field(ge=0, le=4)
    """Digits after the point that an instrument shows."""
    low: Exact
    """The least value that can be said; wider than what is plausible, so that a danger is heard."""
    high: Exact
    also: dict[str, Annotated[int, Field(ge=0, le=4)]] = Field(default_factory=dict)
    """Other units (UCUM) that instruments show it in, each with its digits after the point."""
    usual: Exact
    """What is read when nothing is wrong: where visits at random begin."""
    unusual: Annotated[tuple[Exact, ...], BeforeValidator(as_tuple)] = ()
    """What is read when something is wrong, for visits at random."""
    expected: ExpectedBlock | None = None
    """Where a reading is asked about, if neither the maker's sheet nor a stop limit has a say."""
    drift: DriftBlock | None = None
    """With it, what the visit before left is told once the new reading is accepted."""

    @model_validator(mode="after")
    def _ordered(self) -> QuantityFacts:
        if self.low >= self.high:
            raise ValueError("low must be below high")
        for other in self.also:
            if dimension(other) != dimension(self.unit):
                raise ValueError(f"{other} and {self.unit} measure different things")
        if any(not self.low <= value <= self.high for value in (self.usual, *self.unusual)):
            raise ValueError("usual and unusual values must lie between low and high")
        return self


class QuantitiesFile(RootModel[dict[FieldName, QuantityFacts]]):
    """`quantities.yaml`: every quantity of the trade by name."""
