"""Pictures of the arithmetic, drawn with matplotlib where it is installed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from handsfree.measurement.response import approach_of
from handsfree.measurement.settling import Sample, SettleRule, Settling
from handsfree.measurement.uncertainty import of_resolution
from handsfree.problem import Problem
from handsfree.trades.combustion.flue_gas import (
    air_ratio_from_oxygen,
    carbon_dioxide_from_oxygen,
    excess_air,
    oxygen_from_carbon_dioxide,
    ultimate_carbon_dioxide,
)
from handsfree.trades.combustion.fuels import Fuel


def _figure() -> tuple[Any, Any]:
    try:
        from matplotlib.figure import Figure  # noqa: PLC0415 - optional, and slow to import
    except ImportError:
        raise Problem("a picture needs matplotlib", remedy="pip install 'handsfree[pictures]'") from None
    figure = Figure(figsize=(7, 4.5), layout="constrained")
    return figure, figure.subplots()


def _save(figure: Any, path: Path) -> None:
    try:
        figure.savefig(path)
    except (OSError, ValueError) as error:
        raise Problem(f"the picture cannot be written: {error}", where=str(path)) from None


def draw_flue_chart(
    path: Path, fuel: Fuel, co2: float | None, o2: float | None, band: tuple[float, float] | None
) -> None:
    """Draw CO2 and excess air over O2 for a fuel, with the maker's CO2 band and what was read."""
    figure, axes = _figure()
    oxygen = [step / 20 for step in range(221)]
    axes.plot(oxygen, [carbon_dioxide_from_oxygen(fuel, o) for o in oxygen], color="tab:blue")
    axes.set(xlabel="O2, % of dry gas", ylabel="CO2, % of dry gas", xlim=(0, 11), title=f"{fuel.name}: lean side")
    axes.set_ylim(bottom=0, top=ultimate_carbon_dioxide(fuel) * 1.08)
    right = axes.twinx()
    right.plot(oxygen, [excess_air(air_ratio_from_oxygen(fuel, o)) for o in oxygen], color="tab:orange")
    right.set_ylabel("excess air, %", color="tab:orange")
    right.set_ylim(bottom=0)
    if band is not None:
        axes.axhspan(*band, color="tab:green", alpha=0.2)
        axes.text(10.9, band[1], f"maker's band {band[0]:g} to {band[1]:g} %", ha="right", va="bottom")
    if co2 is not None or o2 is not None:
        across = o2 if o2 is not None else oxygen_from_carbon_dioxide(fuel, co2 or 0.0)
        up = co2 if co2 is not None else carbon_dioxide_from_oxygen(fuel, across)
        axes.plot([across], [up], "o", color="black")
        axes.annotate(f"CO2 {up:.1f}, O2 {across:.1f}", (across, up), textcoords="offset points", xytext=(8, 8))
    _save(figure, path)


def draw_settling(path: Path, samples: Sequence[Sample], rule: SettleRule, answer: Settling) -> None:
    """Draw the readings with their display steps, the approach they follow, and the forecast."""
    figure, axes = _figure()
    times = [float(sample.seconds) for sample in samples]
    step = float(rule.resolution)
    axes.errorbar(times, [float(s.value) for s in samples], yerr=step / 2, fmt="o", color="black", label="read")
    pairs = sorted((float(s.seconds), float(s.value)) for s in samples if float(s.seconds) >= rule.dead_time)
    approach = approach_of(pairs, rule.time_constant, of_resolution(step))
    end = max(times) + max(float(answer.forecast_seconds), 30.0)
    if approach is not None and answer.forecast_value is not None and answer.forecast_half_width is not None:
        later = [pairs[0][0] + (end - pairs[0][0]) * place / 100 for place in range(101)]
        axes.plot(later, [approach.value_at(t) for t in later], color="tab:blue", label="first-order approach")
        final, half = float(answer.forecast_value), float(answer.forecast_half_width)
        axes.axhspan(final - half, final + half, color="tab:blue", alpha=0.15, label="heading to, 95 %")
    axes.axvline(rule.minimum_wait, linestyle=":", color="grey", label="wait asked for")
    axes.set(
        xlabel="seconds since the change", title="settled" if answer.settled else f"not settled: {answer.reason}"
    )
    axes.legend()
    _save(figure, path)
