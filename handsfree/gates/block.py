"""What the YAML of every gate has, and the parts that several kinds write."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field, model_validator

from handsfree.blocks import Block, Exact, Name, Phrase, Target
from handsfree.gates.when import When

Rate = Literal["maximum", "minimum"]


class GateBlock(Block):
    """What every gate has."""

    id: Name
    """Its name, unique in the file; included gates are called `prefix/gate` once flattened."""
    title: str = Field(min_length=3, max_length=60)
    """What it is, in a few words: spoken for "where am I", shown on every page."""
    source: str | None = None
    """Where its content comes from: a standard, a manual, or 'common practice, no source'."""
    firing: bool = False
    """Whether anything fires here: then silence for a minute after the work is an alarm and then a stop."""
    work_seconds: int | None = Field(default=None, ge=0, le=900)
    """How long its work takes: only then does silence count. That of its kind when left out."""
    work_sheet: dict[Name, int] = Field(default_factory=dict)
    """Times of the appliance sheet that the work takes, and how often: `{purge: 5}`.

    They count where the sheet has them and they are longer.
    """
    usual_work_seconds: ClassVar[int] = 0
    """How long work of its kind takes when nothing is written: common practice, no source."""
    needs: dict[Name, Phrase] = Field(default_factory=dict)
    """Things and the state each must be in before this gate is entered: `{cover: fitted, probe: in}`."""
    at_most: int | None = Field(default=None, ge=1, le=50)
    """How often the gate may be entered in one visit; a loop needs one."""
    exhausted: Target | None = None
    """Where it leads when it would be entered once too often."""
    not_done: bool | Target = True
    """Whether "not done, because" may pass it (to `then`), or the gate it then leads to."""
    then: Target | None = None
    """Where it leads; the next gate of the file when left out."""
    when: When = Field(default_factory=dict)
    """Facts of the sheets and earlier answers by which it is asked at all: `{appliance.store: stored}`.

    All must hold, each by one of its values; else the gate is passed over: nothing is altered or put back there.
    A fact that the sheet may leave out is then `not given`; a gate is `not come to` before it was passed.
    """
    otherwise: Target | None = None
    """Where it leads when `when` does not hold; its `then`, or the next gate of the file, when left out."""

    @model_validator(mode="after")
    def _bounded(self) -> GateBlock:
        if (self.at_most is None) != (self.exhausted is None):
            raise ValueError("at_most and exhausted belong together: give both or neither")
        return self


class Settle(Block):
    """How long to wait and how many sets prove that readings have stopped moving."""

    wait_seconds: int = Field(ge=90, le=900)
    """Silence before the first set; the maker's wait when that is longer. Never under 90 s."""
    sets: int = Field(default=3, ge=3, le=10)
    """How many sets in a row are judged."""
    interval_seconds: int = Field(default=30, ge=10, le=300)
    """Time between two sets."""
    most_sets: int = Field(default=8, ge=3, le=20)
    """After this many sets it is called unsettled."""
    source: str
    """Where these numbers come from."""

    @model_validator(mode="after")
    def _enough(self) -> Settle:
        if self.most_sets < self.sets:
            raise ValueError("most_sets must not be below sets")
        return self


class Limits(Block):
    """Limits that stand in the procedure itself: those of a regulation, not of a maker."""

    quantity: str | None = None
    """The reading that is judged, by its name in the catalogue; left out where a formula's result is."""
    unit: str | None = None
    """The UCUM code of the limits where a formula's result is judged: that of the formula."""
    low: Exact | None = None
    """The least value allowed, in the quantity's unit or the formula's; open when left out."""
    high: Exact | None = None
    """The greatest value allowed; open when left out."""
    accuracy: Exact | None = None
    """The instrument's expanded uncertainty (k = 2) in the same unit; without it the value is taken as it is."""
    source: str = Field(min_length=1)
    """Where the limits are published."""

    @model_validator(mode="after")
    def _sensible(self) -> Limits:
        if (self.quantity is None) == (self.unit is None):
            raise ValueError("name the quantity of a reading, or the unit of a formula's result")
        if self.unit is not None and self.accuracy is not None:
            raise ValueError("a formula carries the uncertainty of what goes into it: leave `accuracy` out")
        if self.low is None and self.high is None:
            raise ValueError("give low, high or both")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("low must be below high")
        return self
