"""The history of one appliance as a picture: what was found and left on each visit, quantity by quantity.

Coordinates are those of the SVG's view box. A line joins what was left with what the next visit found: where it
rises or falls, the appliance drifted by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from handsfree.desk import wording
from handsfree.desk.chart import ChartMark, ticks
from handsfree.store.kept import ReadingRow, VisitRow

WIDTH, HEIGHT, LEFT, RIGHT, ABOVE = 1100, 120, 70, 30, 14


@dataclass
class HistoryPlot:
    """One quantity at one measurement point over the visits."""

    label: str
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    points: list[ChartMark] = field(default_factory=list)
    paths: list[str] = field(default_factory=list)
    ticks: list[tuple[float, str]] = field(default_factory=list)
    days: list[tuple[float, str]] = field(default_factory=list)


def draw(visits: Sequence[VisitRow], readings: Sequence[ReadingRow]) -> list[HistoryPlot]:
    """Return a plot for each quantity and point that was read on any of the visits, which are in their order."""
    plots: dict[tuple[str, str], list[tuple[int, str, float]]] = {}
    places = {visit.key: place for place, visit in enumerate(visits)}
    for row in readings:
        plots.setdefault((row.quantity, row.rate), []).append((places[row.key], row.at_time, row.value))
    return [_plot(name, rate, sorted(values), visits) for (name, rate), values in sorted(plots.items())]


def _plot(name: str, rate: str, values: list[tuple[int, str, float]], visits: Sequence[VisitRow]) -> HistoryPlot:
    plot = HistoryPlot(f"{wording.quantity(name)}, {wording.plain(rate)}")
    numbers = [value for _, _, value in values]
    room = max((max(numbers) - min(numbers)) * 0.15, abs(max(numbers)) * 0.01, 0.01)
    low, high = min(numbers) - room, max(numbers) + room

    def y(value: float) -> float:
        return round(ABOVE + (high - value) / (high - low) * HEIGHT, 1)

    x = _across([visit.day for visit in visits])
    plot.ticks = [(y(tick), f"{tick:g}") for tick in ticks(low, high)]
    plot.days = [(x[place], visit.day) for place, visit in enumerate(visits)]
    before: tuple[float, float] | None = None
    for place, when, value in values:
        shift = -5 if when == "found" else 5
        here = (x[place] + shift, y(value))
        says = f"{plot.label} {value:g} as {when} on {visits[place].day}"
        plot.points.append(ChartMark(*here, f"point {'first' if when == 'found' else 'second'}", says))
        if when == "found" and before is not None:
            plot.paths.append(f"M{before[0]} {before[1]}L{here[0]} {here[1]}")
        before = here if when == "left" else None
    return plot


def _across(days: list[str]) -> list[float]:
    """Return where each day lies: by the calendar, but never closer than two marks are wide."""
    try:
        numbers = [date.fromisoformat(day).toordinal() for day in days]
    except ValueError:
        numbers = list(range(len(days)))
    span = max(numbers[-1] - numbers[0], 1)
    inside = WIDTH - LEFT - RIGHT - 40
    places: list[float] = []
    for number in numbers:
        place = LEFT + 20 + (number - numbers[0]) / span * inside
        places.append(round(max(place, places[-1] + 24) if places else place, 1))
    return places
