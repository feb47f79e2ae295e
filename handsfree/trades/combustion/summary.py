"""Everything that follows from what was read at the flue, line by line, each with its formula and source."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.problem import Problem
from handsfree.trades.combustion.flue_gas import (
    air_free_carbon_monoxide,
    air_ratio_from_carbon_dioxide,
    air_ratio_from_oxygen,
    carbon_monoxide_ratio,
    excess_air,
    implied_fuel,
    milligrams_per_cubic_metre,
    pair_residual,
    ultimate_carbon_dioxide,
)
from handsfree.trades.combustion.fuels import Fuel
from handsfree.trades.combustion.heating_value import METRIC, gas_properties
from handsfree.trades.combustion.losses import efficiency, flue_gas_dew_point, siegert_loss
from handsfree.trades.combustion.stoichiometry import FlueGas, flue_gas, stoichiometry
from handsfree.trades.combustion.water import humidity

_BALANCE = "balance of atoms, dry air 20.946 % O2 and 0.04 % CO2"


@dataclass(frozen=True)
class ResultLine:
    """One result; the value is written with the decimals it deserves."""

    key: str
    name: str
    value: str
    unit: str
    """UCUM code."""
    formula: str
    source: str


@dataclass(frozen=True)
class AtTheFlue:
    """What was read: percent of dry gas, ppm of dry gas, Cel, percent relative humidity, kPa, kW gross."""

    fuel: Fuel
    co2: float | None = None
    o2: float | None = None
    co: float | None = None
    flue_temperature: float | None = None
    air_temperature: float = 20.0
    relative_humidity: float = 0.0
    pressure: float = 101.325
    gross_input: float | None = None


def flue_lines(read: AtTheFlue) -> list[ResultLine]:
    """Return all that can be told from the readings; what they cannot tell is left out, never guessed.

    O2 goes before CO2 where both are given. Raises Problem for impossible readings and for a CO or a
    temperature that needs an O2 or a CO2 beside it.
    """
    lines = _of_the_fuel(read.fuel)
    if read.o2 is None and read.co2 is None:
        if read.co is not None or read.flue_temperature is not None:
            raise Problem("CO and flue temperature tell nothing without O2 or CO2", remedy="give --o2 or --co2")
        return lines
    if read.o2 is not None:
        ratio = air_ratio_from_oxygen(read.fuel, read.o2)
    else:
        ratio = air_ratio_from_carbon_dioxide(read.fuel, read.co2 or 0.0)
    gas = flue_gas(read.fuel, ratio, humidity(read.air_temperature, read.relative_humidity, read.pressure))
    lines += _of_the_gas(gas, read)
    if read.co is not None:
        lines += _of_carbon_monoxide(read.co, gas)
    if read.co2 is not None and read.o2 is not None:
        lines += _of_the_pair(read.fuel, read.co2, read.o2)
    if read.flue_temperature is not None and read.fuel.gaseous:
        lines += _of_the_heat(read, gas, read.flue_temperature)
    return lines


def _of_the_fuel(fuel: Fuel) -> list[ResultLine]:
    s = stoichiometry(fuel)
    per = "m3/m3" if fuel.gaseous else "mol/kg"
    lines = [
        ResultLine(
            "ultimate_co2",
            "ultimate CO2",
            f"{ultimate_carbon_dioxide(fuel):.2f}",
            "%",
            "CO2 over dry flue gas",
            _BALANCE,
        ),
        ResultLine("air", "air needed", f"{s.air:.3f}", per, "O2 needed / 0.20946", _BALANCE),
        ResultLine("dry_flue", "dry flue gas, no excess air", f"{s.dry_flue:.3f}", per, "CO2 + N2 + Ar", _BALANCE),
        ResultLine(
            "wet_flue", "wet flue gas, no excess air", f"{s.wet_flue:.3f}", per, "dry flue gas + H2O", _BALANCE
        ),
    ]
    if fuel.gaseous:
        p = gas_properties(fuel)
        at = f"ISO 6976:2016, {METRIC}"
        lines += [
            ResultLine(
                "gross_heating_value",
                "gross heating value",
                f"{p.gross:.2f}",
                "MJ/m3",
                "sum of x·H / (Z·R·T/p)",
                at,
            ),
            ResultLine(
                "net_heating_value", "net heating value", f"{p.net:.2f}", "MJ/m3", "gross - water formed·L", at
            ),
            ResultLine(
                "relative_density", "relative density", f"{p.relative_density:.4f}", "1", "M/M air·Z air/Z", at
            ),
            ResultLine(
                "gross_wobbe",
                "gross Wobbe index",
                f"{p.gross_wobbe:.2f}",
                "MJ/m3",
                "gross / √(relative density)",
                at,
            ),
        ]
    return lines


def _of_the_gas(gas: FlueGas, read: AtTheFlue) -> list[ResultLine]:
    if read.o2 is not None:
        formula = "1 + (dry flue/air)·O2/(20.946 - O2)"
    else:
        formula = "lean side, from CO2; the same CO2 occurs rich, so no pass without O2 and CO"
    return [
        ResultLine("air_ratio", "air ratio", f"{gas.air_ratio:.3f}", "1", formula, _BALANCE),
        ResultLine(
            "excess_air", "excess air", f"{excess_air(gas.air_ratio):.1f}", "%", "100·(air ratio - 1)", _BALANCE
        ),
        ResultLine("o2", "O2, dry", f"{100 * gas.oxygen:.2f}", "%", "surplus O2 over dry flue gas", _BALANCE),
        ResultLine("co2", "CO2, dry", f"{100 * gas.carbon_dioxide:.2f}", "%", "CO2 over dry flue gas", _BALANCE),
        ResultLine("o2_wet", "O2, wet", f"{100 * gas.wet_oxygen:.2f}", "%", "dry·(1 - H2O)", _BALANCE),
        ResultLine("co2_wet", "CO2, wet", f"{100 * gas.wet_carbon_dioxide:.2f}", "%", "dry·(1 - H2O)", _BALANCE),
        ResultLine("h2o", "H2O in the wet gas", f"{100 * gas.water:.2f}", "%", "H2O over wet flue gas", _BALANCE),
        ResultLine(
            "dew_point",
            "dew point",
            f"{flue_gas_dew_point(gas, read.pressure):.1f}",
            "Cel",
            "saturation pressure = H2O·pressure",
            "IAPWS-IF97 region 4",
        ),
    ]


def _of_carbon_monoxide(ppm: float, gas: FlueGas) -> list[ResultLine]:
    free = air_free_carbon_monoxide(ppm, 100 * gas.oxygen)
    ratio = carbon_monoxide_ratio(ppm, 100 * gas.carbon_dioxide)
    milligrams = milligrams_per_cubic_metre(ppm)
    return [
        ResultLine(
            "co_air_free",
            "CO, air-free",
            f"{free:.0f}",
            "[ppm]",
            "CO·20.9/(20.9 - O2)",
            "formula of air-free limits",
        ),
        ResultLine("co_ratio", "CO/CO2", f"{ratio:.4f}", "1", "(ppm·10⁻⁶)/(CO2 %·10⁻²)", "definition"),
        ResultLine("co_mass", "CO, dry, 0 Cel", f"{milligrams:.0f}", "mg/m3", "ppm·28.010/22.414", "molar volume"),
    ]


def _of_the_pair(fuel: Fuel, co2: float, o2: float) -> list[ResultLine]:
    implied = implied_fuel(co2, o2).ultimate
    return [
        ResultLine(
            "pair_residual",
            "CO2 over what O2 implies",
            f"{pair_residual(fuel, co2, o2):+.2f}",
            "%",
            "CO2 - ultimate·(1 - O2/20.946); cannot see a diluted sample",
            _BALANCE,
        ),
        ResultLine(
            "implied_ultimate_co2", "ultimate CO2 implied", f"{implied:.2f}", "%", "CO2/(1 - O2/20.946)", _BALANCE
        ),
    ]


def _of_the_heat(read: AtTheFlue, gas: FlueGas, flue: float) -> list[ResultLine]:
    e = efficiency(read.fuel, gas, flue, read.air_temperature, read.pressure)
    source = "first law, ideal gases, from 25 Cel; ISO 6976 heating values; no casing loss"
    lines = [
        ResultLine(
            "efficiency_net", "efficiency, net", f"{e.net_percent:.1f}", "%", "(net + in - out)/net", source
        ),
        ResultLine(
            "efficiency_gross",
            "efficiency, gross",
            f"{e.gross_percent:.1f}",
            "%",
            "(net + in - out)/gross",
            source,
        ),
        ResultLine(
            "condensed",
            "share of water condensed",
            f"{e.condensed_percent:.0f}",
            "%",
            "gas leaves saturated",
            source,
        ),
    ]
    if read.gross_input is not None:
        hourly = e.condensate_per_hour(read.gross_input)
        lines.append(
            ResultLine("condensate", "condensate", f"{hourly:.2f}", "kg/h", "condensed·18.015/gross·input", source)
        )
    return [*lines, _indirect_loss(read, gas, flue)]


def _indirect_loss(read: AtTheFlue, gas: FlueGas, flue: float) -> ResultLine:
    """Return the indirect loss, or a line that says why there is none (no coefficients, or condensation)."""
    key, name, formula = "siegert_loss", "indirect flue loss, net", "(flue - air)·(A2/(21 - O2) + B)"
    try:
        loss = siegert_loss(read.fuel, flue, read.air_temperature, 100 * gas.oxygen)
    except Problem as refused:
        return ResultLine(key, name, "none", "", refused.what, "1. BImSchV annex")
    return ResultLine(key, name, f"{loss:.2f}", "%", formula, "1. BImSchV annex")
