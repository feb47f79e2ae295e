"""What is wrong or odd about readings at a flue, by the rules that a visit goes by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal

from handsfree.measurement.reading import Reading
from handsfree.trades.combustion.plausibility import Situation, judge_pair
from handsfree.trades.combustion.stop_limits import SafetyReadings, open_stops
from handsfree.trades.combustion.summary import AtTheFlue
from handsfree.trades.files import QuantityFacts
from handsfree.trades.sheets import outside


def flue_warnings(read: AtTheFlue, quantities: Mapping[str, QuantityFacts]) -> list[str]:
    """Return a sentence for each stop limit that is passed, for a pair that no flue gas has, for each odd value.

    `quantities` says what is expected. Only limits that hold for every appliance are known here; the maker's stand
    on a sheet. No warning means no more than that.
    """
    values = {name: _exact(value) for name, value in _called(read)}
    safety = SafetyReadings(
        co=values.get("co"),
        o2=values.get("o2"),
        co2=values.get("co2"),
        flue_temperature=values.get("flue_temperature"),
    )
    stops = open_stops(safety, read.fuel)
    found = [f"stop limit {one.name.replace('-', ' ')}: {one.value}, {one.limit} ({one.source})" for one in stops]
    if "co2" in values and "o2" in values:
        pair = judge_pair(
            Situation(read.fuel, co2_computed=False), *(_reading(one, values) for one in ("co2", "o2"))
        )
        found += [] if pair.consistent else [pair.sentence]
    return [*found, *_unexpected(values, quantities)]


def _called(read: AtTheFlue) -> Iterator[tuple[str, float]]:
    for name in ("co2", "o2", "co", "flue_temperature", "air_temperature"):
        value = getattr(read, name)
        if value is not None:
            yield name, value


def _exact(value: float) -> Decimal:
    return Decimal(repr(value))


def _reading(name: str, values: dict[str, Decimal]) -> Reading:
    return Reading.written(name, f"{values[name].normalize():f}", "%")


def _unexpected(values: Mapping[str, Decimal], quantities: Mapping[str, QuantityFacts]) -> Iterator[str]:
    """Yield each value outside what is expected of its quantity."""
    for name, value in values.items():
        facts = quantities[name]
        expected = facts.expected
        side = "" if expected is None else outside(value, expected.low, expected.high)
        if expected is not None and side:
            yield f"unusual: {name.replace('_', ' ')} {value:f} {facts.unit}, {side} ({expected.source})"
