"""The chart of a visit over time as plain shapes, drawn as SVG: it prints, scales and needs no script.

Coordinates are those of the SVG's view box. Nothing is interpolated: a line joins readings of one group only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from handsfree.desk import wording
from handsfree.desk.evidence import Evidence, number, value_given
from handsfree.desk.forms import Axis
from handsfree.desk.limits import StatedBand, band_on, makers_band
from handsfree.desk.measured import Group, point_of

WIDTH, LEFT, RIGHT = 1100, 112, 12
LANE, GAP = 16, 26
SHAPES = ("first", "second")
"""How the points of a trade's first two rates differ; points of all others look alike."""


@dataclass(frozen=True)
class ChartBar:
    """A rectangle with what it says; `kind` is its class on the page."""

    x: float
    y: float
    width: float
    height: float
    kind: str
    says: str


@dataclass(frozen=True)
class ChartMark:
    """A point or an upright line at a time."""

    x: float
    y: float
    kind: str
    says: str
    seq: int = 0


@dataclass
class Plot:
    """One quantity over time."""

    label: str
    top: float
    height: float
    bars: list[ChartBar] = field(default_factory=list)
    paths: list[str] = field(default_factory=list)
    points: list[ChartMark] = field(default_factory=list)
    ticks: list[tuple[float, str]] = field(default_factory=list)


@dataclass
class Chart:
    """Everything to draw between two times (ms of the visit)."""

    begin: int
    end: int
    height: float = 0
    width: int = WIDTH
    left: int = LEFT
    right: int = RIGHT
    plots: list[Plot] = field(default_factory=list)
    lanes: list[tuple[float, str]] = field(default_factory=list)
    bars: list[ChartBar] = field(default_factory=list)
    turns: list[ChartMark] = field(default_factory=list)
    times: list[tuple[float, str]] = field(default_factory=list)
    key: list[tuple[str, str]] = field(default_factory=list)
    summary: str = ""

    def x(self, at: float) -> float:
        """Return where a time lies, kept inside the frame."""
        inside = min(max(at, self.begin), self.end)
        return round(LEFT + (inside - self.begin) / max(self.end - self.begin, 1) * (WIDTH - LEFT - RIGHT), 1)

    def shows(self, began: float, until: float) -> bool:
        """Say whether a stretch of time touches the frame."""
        return until >= self.begin and began <= self.end


def draw(evidence: Evidence, begin: int = 0, end: int | None = None) -> Chart:
    """Return the chart of a visit, or of the part of it between two times."""
    last = evidence.recorded.steps[-1].at
    chart = Chart(begin, max(begin + 1000, min(end or last, last)))
    y = 20.0
    for axis in evidence.forms.report.chart:
        draw_on = _readings if axis.quantity else _computed
        plot = draw_on(chart, evidence, axis, Plot(axis.label, y, axis.height))
        if plot.points:
            chart.plots.append(plot)
            y += axis.height + GAP
    y = _things(chart, evidence, y)
    y = _gates(chart, evidence, y)
    _turns(chart, evidence)
    _times(chart)
    chart.height = y + 24
    chart.key = _key(evidence, chart)
    chart.summary = _summary(evidence)
    return chart


def _readings(chart: Chart, evidence: Evidence, axis: Axis, plot: Plot) -> Plot:
    """Draw the readings of a quantity, group by group, with the bands that hold where they were taken."""
    shown = [
        group for group in evidence.groups if group.series(axis.quantity) and chart.shows(group.began, group.ended)
    ]
    bands = {id(group): band_on(evidence, axis, group) for group in shown}
    values = [number(value) for group in shown for _, value in group.series(axis.quantity)]
    y = _scale(plot, axis, [*values, *_edges(bands.values())])
    if y is not None:
        for group in shown:
            _group(chart, evidence, plot, group, quantity=axis.quantity, band=bands[id(group)], y=y)
    return plot


def _computed(chart: Chart, evidence: Evidence, axis: Axis, plot: Plot) -> Plot:
    """Draw the values that a calculation gave, each when it was given."""
    given = [
        (step, verdict, value)
        for step, verdict in evidence.verdicts
        if verdict.calculation == axis.calculation
        and chart.shows(step.at, step.at)
        and (value := value_given(verdict)) is not None
    ]
    band = makers_band(evidence, axis)
    y = _scale(plot, axis, [*(value for _, _, value in given), *(_edges([band]) if given else ())])
    if y is not None:
        if band is not None:
            plot.bars.append(_banded(plot, band, chart.x(given[0][0].at), chart.x(given[-1][0].at), y))
        for step, verdict, value in given:
            says = f"{wording.verdict(verdict)}, at {wording.clock(step.at)}"
            plot.points.append(ChartMark(chart.x(step.at), y(float(value)), "point other", says, step.seq))
    return plot


def _edges(bands: Iterable[StatedBand | None]) -> list[Decimal | None]:
    return [edge for band in bands if band is not None for edge in (band.low, band.high)]


def _scale(plot: Plot, axis: Axis, values: list[Decimal | None]) -> Callable[[float], float] | None:
    """Give the plot its ticks and return where a value lies on it; None when there is nothing to draw."""
    numbers = [float(value) for value in values if value is not None]
    if not numbers:
        return None
    room = max((max(numbers) - min(numbers)) * 0.12, axis.room)
    low, high = min(numbers) - room, max(numbers) + room

    def y(value: float) -> float:
        return round(plot.top + (high - value) / (high - low) * plot.height, 1)

    plot.ticks = [(y(tick), f"{tick:g}") for tick in ticks(low, high)]
    return y


def _banded(plot: Plot, band: StatedBand, began: float, ended: float, y: Callable[[float], float]) -> ChartBar:
    """Return a band as a bar a little wider than the readings that it is for; an open edge ends at the frame."""
    top = y(float(band.high)) if band.high is not None else plot.top
    foot = y(float(band.low)) if band.low is not None else plot.top + plot.height
    return ChartBar(began - 5, top, ended - began + 10, foot - top, "band", band.says)


def _group(
    chart: Chart,
    evidence: Evidence,
    plot: Plot,
    group: Group,
    *,
    quantity: str,
    band: StatedBand | None,
    y: Callable[[float], float],
) -> None:
    began, ended = chart.x(group.began), chart.x(group.ended)
    if band is not None:
        plot.bars.append(_banded(plot, band, began, ended, y))
    if group.settled:
        stood = group.values.get(quantity)
        if stood is not None:
            says = f"{group.title}: settled at {wording.value(stood.reading)}"
            plot.bars.append(ChartBar(began - 5, plot.top, ended - began + 10, plot.height, "settled", says))
    points = [
        (chart.x(at), y(float(value)), at, text)
        for at, text in group.series(quantity)
        if (value := number(text)) is not None
    ]
    plot.paths.append(" ".join(f"{'L' if place else 'M'}{px} {py}" for place, (px, py, _, _) in enumerate(points)))
    kind = f"point {_shape(evidence, group)}{' voided' if group.voided else ''}"
    seqs = {taken.step.at: taken.step.seq for taken in group.readings}
    for px, py, at, text in points:
        voided = f", set aside: {group.voided}" if group.voided else ""
        says = f"{wording.quantity(quantity)} {text} at {wording.clock(at)}, {group.title}{voided}"
        plot.points.append(ChartMark(px, py, kind, says, seqs[at]))


def _shape(evidence: Evidence, group: Group) -> str:
    rates = evidence.forms.report.measured.rates
    return dict(zip(rates, SHAPES, strict=False)).get(group.rate, "other")


def _key(evidence: Evidence, chart: Chart) -> list[tuple[str, str]]:
    """Return what the chart's shapes mean, of those that it shows."""
    kinds = {kind for plot in chart.plots for point in plot.points for kind in point.kind.split()}
    bars = {bar.kind for plot in chart.plots for bar in plot.bars}
    rates = evidence.forms.report.measured.rates
    named = [(shape, says) for shape, says in zip(("circle", "square"), rates, strict=False)]
    known = [
        *((SHAPES[place], shape, says) for place, (shape, says) in enumerate(named)),
        ("other", "dot", "reading"),
        ("voided", "ring", "set aside"),
        ("band", "bandkey", "band"),
        ("settled", "settledkey", "settled"),
    ]
    told = [(shape, says) for kind, shape, says in known if kind in kinds | bars]
    return [*told, ("turnkey", "an adjuster was turned")] if chart.turns else told


def ticks(low: float, high: float) -> list[float]:
    """Return round values between two, at most six of them."""
    for step in (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000):
        if (high - low) / step <= 5:
            break
    first = int(low / step) - 1
    return [round(number * step, 6) for number in range(first, first + 12) if low <= number * step <= high]


def _things(chart: Chart, evidence: Evidence, y: float) -> float:
    things: dict[str, float] = {}
    for span in evidence.alterations:
        until = span.until if span.until is not None else evidence.recorded.steps[-1].at
        if not chart.shows(span.began, until):
            continue
        if span.thing not in things:
            things[span.thing] = y
            chart.lanes.append((y, span.said))
            y += LANE
        end = f"put back at {wording.clock(span.until)}" if span.until is not None else "never put back"
        says = f"{span.said} {span.state} from {wording.clock(span.began)}, {end}"
        x = chart.x(span.began)
        kind = "altered" if span.until is not None else "altered left"
        chart.bars.append(ChartBar(x, things[span.thing] + 3, max(chart.x(until) - x, 2), LANE - 6, kind, says))
    return y + 6


def _gates(chart: Chart, evidence: Evidence, y: float) -> float:
    chart.lanes.append((y, "Gates"))
    for place, span in enumerate(evidence.gates):
        if chart.shows(span.began, span.until):
            x = chart.x(span.began)
            says = f"{span.title}: {span.outcome or 'not left'}, {wording.clock(span.began)}, {span.seconds:.0f} s"
            kind = "gate even" if place % 2 else "gate"
            chart.bars.append(ChartBar(x, y + 2, max(chart.x(span.until) - x, 0.8), LANE - 2, kind, says))
    return y + LANE


def _turns(chart: Chart, evidence: Evidence) -> None:
    for step, turn in evidence.turns:
        if chart.shows(step.at, step.at):
            says = f"{turn.rate}: {turn.direction}, {wording.turn(turn.eighths)}, at {wording.clock(step.at)}"
            chart.turns.append(ChartMark(chart.x(step.at), 20, "turn", says, step.seq))


def _times(chart: Chart) -> None:
    span = chart.end - chart.begin
    step = (
        next((each for each in (30, 60, 120, 300, 600, 900, 1800, 3600) if span / 1000 / each <= 10), 7200) * 1000
    )
    first = -(-chart.begin // step) * step
    chart.times = [(chart.x(at), wording.clock(at)) for at in range(first, chart.end + 1, step)]


def _summary(evidence: Evidence) -> str:
    parts = []
    for pair in evidence.pairs:
        if pair.found and pair.left:
            name = evidence.forms.report.measured.quantities[0]
            found, left = (wording.value(group.values[name].reading) for group in (pair.found, pair.left))
            parts.append(f"{wording.quantity(name)}{pair.where} {found} as found, {left} as left")
    return "; ".join(parts) or "no readings that stand"


def phases(evidence: Evidence) -> list[tuple[str, int, int]]:
    """Return stretches of the visit to look at closely: name, begin and end in ms."""
    form = evidence.forms.report.measured
    looked = [
        group for group in evidence.groups if set(form.quantities[:1]) & group.quantities and point_of(group, form)
    ]
    return [(group.title, max(group.began - 60_000, 0), group.ended + 30_000) for group in looked]
