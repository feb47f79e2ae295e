"""The trade's arithmetic by hand: flue gas, gas rate, and whether readings have settled."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal, cast

import typer

from handsfree.commands.quantities import quantity
from handsfree.measurement.reading import exact
from handsfree.measurement.settling import Sample, SettleRule, judge_settling
from handsfree.problem import Problem
from handsfree.procedure.trades import trade_data
from handsfree.trades.combustion.altitude import standard_pressure
from handsfree.trades.combustion.fuels import Fuel, fuel_named, fuel_of_composition
from handsfree.trades.combustion.gas_rate import (
    CUBIC_FOOT,
    METRIC_STANDARD,
    NORMAL,
    US_STANDARD,
    Basis,
    GasState,
    HeatInput,
    correction_factor,
    gas_rate,
    heat_input,
    input_uncertainty_percent,
    on_basis,
    over_rated_percent,
)
from handsfree.trades.combustion.heating_value import Reference, gas_properties
from handsfree.trades.combustion.summary import AtTheFlue, ResultLine, flue_lines
from handsfree.trades.combustion.warnings import flue_warnings

app = typer.Typer(help="The trade's arithmetic.", no_args_is_help=True)

_AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")]
_Sources = Annotated[bool, typer.Option("--sources", help="Show the formula and the source of each line.")]
_Picture = Annotated[Path | None, typer.Option("--picture", help="Draw it into this PNG, SVG or PDF file.")]
_FuelName = Annotated[str | None, typer.Option("--fuel", help="A fuel by name, for example 'natural gas'.")]
_Composition = Annotated[
    str | None, typer.Option("--composition", help="A gas in mol %: CH4=89.0,C2H6=4.2,N2=6.8")
]


@app.command()
def flue(
    *,
    fuel: _FuelName = None,
    composition: _Composition = None,
    co2: Annotated[float | None, typer.Option(help="CO2 in % of dry gas.")] = None,
    o2: Annotated[float | None, typer.Option(help="O2 in % of dry gas.")] = None,
    co: Annotated[float | None, typer.Option(help="CO in ppm of dry gas.")] = None,
    flue_temperature: Annotated[
        str | None, typer.Option("--flue", help="Flue gas temperature: 58, '58 degC' or '136 degF'.")
    ] = None,
    air_temperature: Annotated[str, typer.Option("--air", help="Combustion air temperature.")] = "20 degC",
    relative_humidity: Annotated[float, typer.Option("--humidity", help="Of the combustion air, in %.")] = 0.0,
    altitude: Annotated[str, typer.Option(help="Site altitude: 1609, '1609 m' or '5280 ft'.")] = "0 m",
    gross_input: Annotated[
        str | None, typer.Option("--input", help="Gross heat input, for the condensate: '28 kW'.")
    ] = None,
    band: Annotated[str | None, typer.Option(help="The maker's CO2 band for the picture: 9.0-9.7")] = None,
    picture: _Picture = None,
    sources: _Sources = False,
    as_json: _AsJson = False,
) -> None:
    """From any sufficient set of flue readings, tell all the rest."""
    chosen = _fuel(fuel, composition)
    read = AtTheFlue(
        chosen,
        co2,
        o2,
        co,
        None if flue_temperature is None else quantity(flue_temperature, "Cel", "flue temperature"),
        quantity(air_temperature, "Cel", "air temperature"),
        relative_humidity,
        standard_pressure(quantity(altitude, "m", "altitude")),
        None if gross_input is None else quantity(gross_input, "kW", "input"),
    )
    lines, warnings = flue_lines(read), flue_warnings(read, trade_data("combustion").quantities)
    if picture is not None:
        from handsfree.commands.pictures import draw_flue_chart  # noqa: PLC0415 - matplotlib is optional

        draw_flue_chart(picture, chosen, co2, o2, _band(band))
    _show(f"{chosen.name} ({chosen.source})", lines, sources, as_json, warnings)


_REFERENCES: dict[str, tuple[GasState, Reference]] = {
    "metric": (METRIC_STANDARD, Reference(15.0, 15.0)),
    "normal": (NORMAL, Reference(25.0, 0.0)),
    "us": (US_STANDARD, Reference(15.55, 15.55, US_STANDARD.pressure)),
}


_CORRECTION, _NO_CORRECTION = "volume correction", "volume correction, none given"


@app.command()
def gasrate(
    *,
    volume: Annotated[str, typer.Option(help="Volume through the meter: '0.1 m3' or '2 ft3'.")],
    time: Annotated[str, typer.Option(help="How long it took: 48 or '48 s'.")],
    fuel: _FuelName = None,
    composition: _Composition = None,
    heating_value: Annotated[
        str | None, typer.Option(help="Of the gas bill: '39.5 MJ/m3', '10.97 kWh/m3', '1030 Btu/ft3'.")
    ] = None,
    basis: Annotated[str, typer.Option(help="Basis of that heating value: gross or net.")] = "gross",
    reference: Annotated[
        str, typer.Option(help="Its reference: metric (15 Cel), normal (0 Cel), us (60 degF, 14.73 psia).")
    ] = "metric",
    gauge: Annotated[str | None, typer.Option(help="Pressure at the meter: '20 mbar' or '7 inH2O'.")] = None,
    barometer: Annotated[str | None, typer.Option(help="Barometer on site: '1000 mbar' or '14.4 psi'.")] = None,
    altitude: Annotated[str | None, typer.Option(help="Instead of a barometer: '1609 m'.")] = None,
    temperature: Annotated[str | None, typer.Option(help="Of the gas at the meter: '10 degC'.")] = None,
    rated: Annotated[str | None, typer.Option(help="Rated input to compare with: '24 kW'.")] = None,
    rated_basis: Annotated[str, typer.Option(help="Basis of the rated input: gross or net.")] = "gross",
    timing: Annotated[float, typer.Option(help="Standard uncertainty of the time, s.")] = 0.5,
    meter: Annotated[float, typer.Option(help="Standard uncertainty of the meter, %.")] = 1.5,
    sources: _Sources = False,
    as_json: _AsJson = False,
) -> None:
    """Gas rate and heat input from timing the meter."""
    if reference not in _REFERENCES:
        raise Problem(f"there is no reference '{reference}'", remedy="say metric, normal or us")
    state, iso = _REFERENCES[reference]
    seconds = quantity(time, "s", "time")
    rate = gas_rate(quantity(volume, "m3", "volume"), seconds)
    corrected = any(given is not None for given in (gauge, barometer, altitude, temperature))
    factor, how = _factor(gauge, barometer, altitude, temperature, state)
    gas = _fuel(fuel, composition) if fuel or composition else None
    lines = [
        ResultLine("rate", "gas rate, metered", f"{rate:.3f}", "m3/h", "3600·volume/time", "definition"),
        ResultLine(
            "rate_imperial",
            "gas rate, metered",
            f"{rate / CUBIC_FOOT:.1f}",
            "[cft_i]/h",
            "1 ft3 = 0.0283168 m3",
            "exact",
        ),
        ResultLine("factor", _CORRECTION if corrected else _NO_CORRECTION, f"{factor:.4f}", "1", how, "gas law"),
    ]
    if gas is not None or heating_value is not None:
        value, on, source = _heating_value(gas, heating_value, _basis(basis), iso)
        heat = heat_input(rate, value, on, factor)
        lines += _heat_lines(heat, gas, source)
        spread = input_uncertainty_percent(seconds, timing, meter, 1.0)
        lines.append(
            ResultLine(
                "uncertainty",
                "standard uncertainty of the input",
                f"{spread:.2f}",
                "%",
                "root sum of squares; heating value 1 %",
                "JCGM 100 5.1.6",
            )
        )
        if rated is not None:
            lines.append(
                _over_rated(heat, HeatInput(quantity(rated, "kW", "rated input"), _basis(rated_basis)), gas)
            )
    elif rated is not None:
        raise Problem(
            "a rated input cannot be compared without a heating value", remedy="give --fuel or --heating-value"
        )
    _show(f"gas rate, reference {reference}", lines, sources, as_json)


@app.command()
def settling(
    samples: Annotated[list[str], typer.Argument(help="Readings as SECONDS:VALUE since the last change.")],
    *,
    resolution: Annotated[str, typer.Option(help="Step of the display.")] = "0.1",
    tolerance: Annotated[str, typer.Option(help="The move still to come that may be left.")] = "0.1",
    wait: Annotated[float, typer.Option(help="Seconds after the change before a reading counts.")] = 180.0,
    picture: _Picture = None,
    as_json: _AsJson = False,
) -> None:
    """Say whether readings have settled, where they are heading, and how long that takes."""
    rule = SettleRule(exact(tolerance, "tolerance"), exact(resolution, "resolution"), minimum_wait=wait)
    read = [_sample(text) for text in samples]
    answer = judge_settling(read, rule)
    if picture is not None:
        from handsfree.commands.pictures import draw_settling  # noqa: PLC0415 - matplotlib is optional

        draw_settling(picture, read, rule, answer)
    shown = {
        "settled": "yes" if answer.settled else "no",
        "reason": answer.reason,
        "mean": str(answer.mean),
        "slope per minute": f"{answer.slope} ± {answer.slope_half_width}",
        "heading to": "unknown"
        if answer.forecast_value is None
        else f"{answer.forecast_value} ± {answer.forecast_half_width}",
        "seconds to go": str(answer.forecast_seconds),
    }
    if as_json:
        typer.echo(json.dumps(shown, ensure_ascii=False))
    else:
        for name, value in shown.items():
            typer.echo(f"{name}: {value}")


def _fuel(name: str | None, composition: str | None) -> Fuel:
    if (name is None) == (composition is None):
        raise Problem("give one fuel", remedy="--fuel NAME or --composition CH4=89.0,C2H6=4.2,...")
    return fuel_named(name) if name is not None else fuel_of_composition(composition or "")


def _band(text: str | None) -> tuple[float, float] | None:
    if text is None:
        return None
    low, dash, high = text.partition("-")
    edges = float(exact(low.strip(), "lower edge")), float(exact(high.strip(), "upper edge"))
    if not dash or edges[0] >= edges[1]:
        raise Problem(f"the band '{text}' is not LOW-HIGH")
    return edges


def _basis(text: str) -> Basis:
    if text not in {"gross", "net"}:
        raise Problem(f"there is no basis '{text}'", remedy="say gross or net")
    return cast(Literal["gross", "net"], text)


def _factor(
    gauge: str | None, barometer: str | None, altitude: str | None, temperature: str | None, state: GasState
) -> tuple[float, str]:
    if gauge is None and barometer is None and altitude is None and temperature is None:
        return 1.0, "not corrected: no pressure and temperature given"
    if barometer is not None and altitude is not None:
        raise Problem("give the barometer or the altitude, not both")
    if barometer is not None:
        air = quantity(barometer, "kPa", "barometer")
    else:
        air = standard_pressure(quantity(altitude or "0 m", "m", "altitude"))
    factor = correction_factor(
        quantity(gauge or "0 kPa", "kPa", "gauge pressure"),
        air,
        state.temperature if temperature is None else quantity(temperature, "Cel", "gas temperature"),
        state,
    )
    return factor, "(gauge + barometer)/reference·(reference T)/(gas T)"


def _heating_value(
    gas: Fuel | None, given: str | None, basis: Basis, reference: Reference
) -> tuple[float, Basis, str]:
    """Return MJ/m3, its basis and its source: the one given goes before that of the composition."""
    if given is not None:
        return quantity(given, "MJ/m3", "heating value"), basis, "heating value as given"
    assert gas is not None
    return gas_properties(gas, reference).gross, "gross", f"ISO 6976:2016, {reference}, {gas.name}"


def _heat_lines(heat: HeatInput, gas: Fuel | None, source: str) -> list[ResultLine]:
    inputs = [heat]
    if gas is not None:
        ratio = gas_properties(gas).gross_to_net
        inputs = [on_basis(heat, "gross", ratio), on_basis(heat, "net", ratio)]
    formula = "rate·correction·heating value"
    return [
        line
        for each in inputs
        for line in (
            ResultLine(
                f"input_{each.basis}", f"heat input, {each.basis}", f"{each.kilowatts:.2f}", "kW", formula, source
            ),
            ResultLine(
                f"input_{each.basis}_btu",
                f"heat input, {each.basis}",
                f"{each.btu_per_hour:.0f}",
                "[Btu_IT]/h",
                formula,
                source,
            ),
        )
    ]


def _over_rated(heat: HeatInput, rated: HeatInput, gas: Fuel | None) -> ResultLine:
    if gas is not None:
        heat = on_basis(heat, rated.basis, gas_properties(gas).gross_to_net)
    over = over_rated_percent(heat, rated)
    return ResultLine(
        "over_rated",
        f"over the rated input, {rated.basis}",
        f"{over:+.1f}",
        "%",
        "measured/rated - 1",
        "definition",
    )


def _sample(text: str) -> Sample:
    seconds, colon, value = text.partition(":")
    if not colon:
        raise Problem(f"'{text}' is not SECONDS:VALUE", remedy="for example 180:9.3")
    return Sample(float(exact(seconds, "time")), exact(value, "value"))


_UNITS = {"Cel": "°C", "[ppm]": "ppm", "1": "", "[cft_i]/h": "ft3/h", "[Btu_IT]/h": "Btu/h"}
"""UCUM codes as people write them."""


def _show(
    title: str, lines: Sequence[ResultLine], sources: bool, as_json: bool, warnings: Sequence[str] | None = None
) -> None:
    if as_json:
        shown = {
            line.key: {"value": line.value, "unit": line.unit}
            | ({"formula": line.formula, "source": line.source} if sources else {})
            for line in lines
        }
        warned = {} if warnings is None else {"warnings": list(warnings)}
        typer.echo(json.dumps({"title": title, "values": shown, **warned}, ensure_ascii=False, indent=2))
        return
    typer.echo(title)
    for line in lines:
        typer.echo(f"  {line.name:<34}{line.value:>10} {_UNITS.get(line.unit, line.unit)}".rstrip())
        if sources:
            typer.echo(f"      {line.formula}\n      source: {line.source}")
    for warning in warnings or ():
        typer.echo(f"warning: {warning}")
