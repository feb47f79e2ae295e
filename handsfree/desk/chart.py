"""The chart of a visit over time as plain shapes, drawn as SVG: it prints, scales and needs no script.

Coordinates are those of the SVG's view box. Nothing is interpolated: a line joins readings of one group only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from handsfree.desk import wording
from handsfree.desk.evidence import Evidence
from handsfree.desk.measured import Group
from handsfree.trades.sheets import MakerBand

WIDTH, LEFT, RIGHT = 1100, 112, 12
LANE, GAP = 16, 26
PLOTS = {"co2": ("CO₂ %", 150), "o2": ("O₂ %", 96), "co": ("CO ppm", 96)}


@dataclass(frozen=True)
class Bar:
    """A rectangle with what it says; `kind` is its class on the page."""

    x: float
    y: float
    width: float
    height: float
    kind: str
    says: str


@dataclass(frozen=True)
class Mark:
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
    bars: list[Bar] = field(default_factory=list)
    paths: list[str] = field(default_factory=list)
    points: list[Mark] = field(default_factory=list)
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
    bars: list[Bar] = field(default_factory=list)
    turns: list[Mark] = field(default_factory=list)
    times: list[tuple[float, str]] = field(default_factory=list)
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
    for quantity, (label, height) in PLOTS.items():
        plot = _plot(chart, evidence, quantity, Plot(label, y, height))
        if plot.points:
            chart.plots.append(plot)
            y += height + GAP
    y = _things(chart, evidence, y)
    y = _gates(chart, evidence, y)
    _turns(chart, evidence)
    _times(chart)
    chart.height = y + 24
    chart.summary = _summary(evidence)
    return chart


def _plot(chart: Chart, evidence: Evidence, quantity: str, plot: Plot) -> Plot:
    shown = [
        group
        for group in evidence.groups
        if (group.rate or group.settled) and group.series(quantity) and chart.shows(group.began, group.ended)
    ]
    bands = {group.rate: band for group in shown if (band := _band(evidence, quantity, group.rate))}
    numbers = [float(value) for group in shown for _, value in group.series(quantity) if _is_number(value)]
    numbers += [float(edge) for band in bands.values() for edge in (band.low, band.high) if edge is not None]
    if not numbers:
        return plot
    low, high = min(numbers), max(numbers)
    room = max((high - low) * 0.12, 0.3 if quantity != "co" else 3)
    low, high = low - room, high + room

    def y(value: float) -> float:
        return round(plot.top + (high - value) / (high - low) * plot.height, 1)

    plot.ticks = [(y(tick), f"{tick:g}") for tick in _ticks(low, high)]
    for group in shown:
        _group(chart, plot, group, quantity, bands.get(group.rate), y=y)
    return plot


def _group(
    chart: Chart, plot: Plot, group: Group, quantity: str, band: MakerBand | None, *, y: Callable[[float], float]
) -> None:
    began, ended = chart.x(group.began), chart.x(group.ended)
    if band is not None:
        top = y(float(band.high)) if band.high is not None else plot.top
        foot = y(float(band.low)) if band.low is not None else plot.top + plot.height
        says = f"maker's band at {group.rate}: {_edges(band)}, page {band.page}"
        plot.bars.append(Bar(began - 5, top, ended - began + 10, foot - top, "band", says))
    if group.settled:
        value = group.values.get(quantity)
        if value is not None:
            says = f"{group.title}: settled at {wording.value(value.reading)}"
            plot.bars.append(Bar(began - 5, plot.top, ended - began + 10, plot.height, "settled", says))
    points = [
        (chart.x(at), y(float(value)), at, value) for at, value in group.series(quantity) if _is_number(value)
    ]
    plot.paths.append(
        " ".join(f"{'L' if number else 'M'}{px} {py}" for number, (px, py, _, _) in enumerate(points))
    )
    kind = f"point {group.rate or 'other'}{' voided' if group.voided else ''}"
    seqs = {taken.step.at: taken.step.seq for taken in group.readings}
    for px, py, at, text in points:
        voided = f", set aside: {group.voided}" if group.voided else ""
        says = f"{wording.quantity(quantity)} {text} at {wording.clock(at)}, {group.title}{voided}"
        plot.points.append(Mark(px, py, kind, says, seqs[at]))


def _is_number(value: str) -> bool:
    return value.replace(".", "", 1).replace("-", "", 1).isdigit()


def _band(evidence: Evidence, quantity: str, rate: str) -> MakerBand | None:
    if quantity != "co2" or evidence.sheets is None or rate not in {"maximum", "minimum"}:
        return None
    return evidence.sheets.fuel.co2.get(rate)  # type: ignore[call-overload,no-any-return]


def _edges(band: MakerBand) -> str:
    low, high = band.low, band.high
    return f"{'no lower edge' if low is None else low} to {'no upper edge' if high is None else high}"


def _ticks(low: float, high: float) -> list[float]:
    for step in (0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000):
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
        chart.bars.append(Bar(x, things[span.thing] + 3, max(chart.x(until) - x, 2), LANE - 6, kind, says))
    return y + 6


def _gates(chart: Chart, evidence: Evidence, y: float) -> float:
    chart.lanes.append((y, "Gates"))
    for number, span in enumerate(evidence.gates):
        if chart.shows(span.began, span.until):
            x = chart.x(span.began)
            says = f"{span.title}: {span.outcome or 'not left'}, {wording.clock(span.began)}, {span.seconds:.0f} s"
            kind = "gate even" if number % 2 else "gate"
            chart.bars.append(Bar(x, y + 2, max(chart.x(span.until) - x, 0.8), LANE - 2, kind, says))
    return y + LANE


def _turns(chart: Chart, evidence: Evidence) -> None:
    for step, turn in evidence.turns:
        if chart.shows(step.at, step.at):
            says = f"{turn.rate}: {turn.direction}, {wording.turn(turn.eighths)}, at {wording.clock(step.at)}"
            chart.turns.append(Mark(chart.x(step.at), 20, "turn", says, step.seq))


def _times(chart: Chart) -> None:
    span = chart.end - chart.begin
    step = (
        next((each for each in (30, 60, 120, 300, 600, 900, 1800, 3600) if span / 1000 / each <= 10), 7200) * 1000
    )
    first = -(-chart.begin // step) * step
    chart.times = [(chart.x(at), wording.clock(at)) for at in range(first, chart.end + 1, step)]


def _summary(evidence: Evidence) -> str:
    parts = []
    for rate in evidence.rates:
        if rate.before and rate.after:
            found, left = rate.before.values["co2"].reading.value, rate.after.values["co2"].reading.value
            parts.append(f"CO₂ at {rate.rate} {found} % as found, {left} % as left")
    return "; ".join(parts) or "no settled flue readings"


def phases(evidence: Evidence) -> list[tuple[str, int, int]]:
    """Return stretches of the visit to look at closely: name, begin and end in ms."""
    judged = [group for group in evidence.groups if group.rate and group.series("co2")]
    return [(group.title, max(group.began - 60_000, 0), group.ended + 30_000) for group in judged]
