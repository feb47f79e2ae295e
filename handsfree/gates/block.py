"""What the YAML of every gate has, and the parts that several kinds write."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator
from pydantic.json_schema import SkipJsonSchema

from handsfree.blocks import Block, Exact, Name, Phrase, Target
from handsfree.gates.table import Edges, LimitsTable
from handsfree.gates.when import NOT_GIVEN, When
from handsfree.trades.sheets import Sheets, fact_of

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
    photo: str | None = Field(default=None, min_length=3, max_length=40)
    """What a photo is wanted of ("the data plate"), told once and never insisted on; only where somebody answers.

    It comes from the phone's page or a watched folder. Never where anything fires; a hazard's steps know no photo.
    """
    photographed: ClassVar[bool] = False
    """Whether a gate of its kind may want one."""
    then: Target | None = None
    """Where it leads; the next gate of the file when left out."""
    when: When = Field(default_factory=dict)
    """Facts of the sheets and earlier answers by which it is asked at all: `{appliance.store: stored}`.

    All must hold, each by one of its values; else the gate is passed over: nothing is altered or put back there.
    A fact that the sheet may leave out is then `not given`; a gate is `not come to` before it was passed.
    """
    otherwise: Target | None = None
    """Where it leads when `when` does not hold; its `then`, or the next gate of the file, when left out."""

    def __copy__(self) -> Self:
        """Return a copy that works out its own effects and phrases: it may differ in what they follow from."""
        copied = super().__copy__()
        for name in ("effects", "phrases"):
            copied.__dict__.pop(name, None)
        return copied

    @property
    def photo_text(self) -> dict[str, str]:
        """What a photo is wanted of, among the gate's texts; empty where none is."""
        return {"photo": self.photo} if self.photo else {}

    @model_validator(mode="after")
    def _photographed_at_rest(self) -> GateBlock:
        if self.photo and self.firing:
            raise ValueError("nobody takes a photo where anything fires: write photo at a gate that does not fire")
        if self.photo and not self.photographed:
            raise ValueError("nobody answers here: write photo at a confirm, choice or readings gate")
        return self

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
    """Limits that stand in the procedure or in a table beside it: those of a regulation, not of a maker."""

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
    source: str = ""
    """Where the limits are published. Required, unless a table says it."""
    table: Name | SkipJsonSchema[LimitsTable] | None = None
    """The [table](#table) that holds low, high and source in their place: `NAME` of the file `NAME.table.yaml`."""
    at: dict[Name, str] = Field(default_factory=dict)
    """With `table`: the value here of each name of the table's own, such as `{room: kitchen}`."""

    @model_validator(mode="after")
    def _sensible(self) -> Limits:
        if (self.quantity is None) == (self.unit is None):
            raise ValueError("name the quantity of a reading, or the unit of a formula's result")
        if self.unit is not None and self.accuracy is not None:
            raise ValueError("a formula carries the uncertainty of what goes into it: leave `accuracy` out")
        if self.table is None:
            self._written()
        elif self.low is not None or self.high is not None or self.source:
            raise ValueError("the table gives low, high and source: leave them out here, or leave `table` out")
        return self

    def _written(self) -> None:
        if self.low is None and self.high is None:
            raise ValueError("give low, high or both")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("low must be below high")
        if not self.source:
            raise ValueError("say under source where the limits are published")
        if self.at:
            raise ValueError("`at` chooses a row, and there is no `table`")

    @property
    def rows(self) -> LimitsTable | None:
        """The table, once the procedure was read whole; None where the limits stand here."""
        return self.table if isinstance(self.table, LimitsTable) else None

    @property
    def may_lack(self) -> bool:
        """Whether its table may have no row for a job."""
        return self.rows is not None and self.rows.may_lack

    def on(self, sheets: Sheets) -> Limits:
        """Return the limits as these sheets have them: of a table those of its row, or neither low nor high."""
        if self.rows is None:
            return self
        number = None if self.rows.numbered is None else fact_of(sheets, self.rows.numbered)
        edges = self.rows.edges(self._chosen(sheets), None if number is None else Decimal(str(number)))
        return self._by(edges or (None, None), self.rows)

    def read_on(self, sheets: Sheets) -> tuple[int, ...]:
        """Return the numbers of the rows that these limits come from on these sheets; two, joined by a line."""
        if self.rows is None:
            return ()
        number = None if self.rows.numbered is None else fact_of(sheets, self.rows.numbered)
        return self.rows.read(self._chosen(sheets), None if number is None else Decimal(str(number)))

    def _chosen(self, sheets: Sheets) -> dict[str, str]:
        """Return the value of each choice that the table is by."""
        facts = () if self.rows is None else self.rows.facts
        return {**{fact: sheets.chosen(fact) or NOT_GIVEN for fact in facts}, **self.at}

    def each_row(self) -> Iterator[tuple[int, Limits]]:
        """Yield the limits of each row that may be read here, with its number; none without a table."""
        for number, row in () if self.rows is None else self.rows.rows_of(self.at):
            yield number, self._by(row.edges, self.rows)

    def _by(self, edges: Edges, table: LimitsTable | None) -> Limits:
        source = "" if table is None else table.source
        low, high = edges
        return self.model_copy(update={"low": low, "high": high, "source": source, "table": None, "at": {}})
