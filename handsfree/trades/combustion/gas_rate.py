"""Gas rate from the meter, corrected to reference conditions, and the heat input it means.

Source of each formula: the gas law for the volume, heat input = corrected rate times heating value. A
heating value has a basis (gross or net) and reference conditions; inputs of different basis are never
compared. Derivations of the statutory factors stand in the tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from handsfree.problem import Problem
from handsfree.trades.combustion.bounds import require

Basis = Literal["gross", "net"]

CUBIC_FOOT = 0.028316846592
"""m3, exact."""
BTU = 1055.05585262
"""J, International Table."""
PSI = 6.894757293168
"""kPa."""


@dataclass(frozen=True)
class GasState:
    """Absolute pressure in kPa and temperature in degrees Celsius of a metered gas."""

    pressure: float
    temperature: float


METRIC_STANDARD = GasState(101.325, 15.0)
NORMAL = GasState(101.325, 0.0)
US_STANDARD = GasState(14.73 * PSI, (60 - 32) / 1.8)
"""60 degrees Fahrenheit and 14.73 psia, as US gas is sold."""


@dataclass(frozen=True)
class HeatInput:
    """Heat input in kW with its basis."""

    kilowatts: float
    basis: Basis

    @property
    def btu_per_hour(self) -> float:
        """Return the input in Btu/h."""
        return self.kilowatts * 3.6e6 / BTU


def gas_rate(volume: float, seconds: float) -> float:
    """Return the metered rate in m3/h from a volume in m3 that passed in so many seconds."""
    return require("volume", volume, "m3", above=0) / require("time", seconds, "s", above=0) * 3600


def correction_factor(
    gauge: float, barometer: float, temperature: float, reference: GasState = METRIC_STANDARD
) -> float:
    """Return reference volume over metered volume (dry ideal gas law).

    `gauge` and `barometer` in kPa, `temperature` of the gas in degrees Celsius.
    """
    pressure = require("gauge pressure", gauge, "kPa", above=-50, most=1000) + require(
        "barometer", barometer, "kPa", least=30, most=120
    )
    kelvin = require("gas temperature", temperature, "Cel", least=-50, most=80) + 273.15
    return pressure / reference.pressure * (reference.temperature + 273.15) / kelvin


def heat_input(rate: float, heating_value: float, basis: Basis, factor: float = 1.0) -> HeatInput:
    """Return the heat input of a metered rate in m3/h at a heating value in MJ/m3 of reference volume."""
    flow = require("gas rate", rate, "m3/h", least=0) * require("correction factor", factor, "", above=0)
    return HeatInput(flow * require("heating value", heating_value, "MJ/m3", above=0) / 3.6, basis)


def over_rated_percent(measured: HeatInput, rated: HeatInput) -> float:
    """Return how far the measured input lies over the rated one, in percent; both on the same basis."""
    if measured.basis != rated.basis:
        raise Problem(
            f"a {measured.basis} input cannot be compared with a {rated.basis} rating",
            remedy="convert one with the fuel's gross and net heating values",
        )
    return 100 * (measured.kilowatts / require("rated input", rated.kilowatts, "kW", above=0) - 1)


def on_basis(heat: HeatInput, basis: Basis, gross_to_net: float) -> HeatInput:
    """Return the same input on another basis; `gross_to_net` is the fuel's gross over net heating value."""
    ratio = require("gross over net heating value", gross_to_net, "", least=1, most=1.25)
    if heat.basis == basis:
        return heat
    return HeatInput(heat.kilowatts / ratio if basis == "net" else heat.kilowatts * ratio, basis)


def input_uncertainty_percent(
    seconds: float, timing: float, meter_percent: float, heating_value_percent: float
) -> float:
    """Return the relative standard uncertainty of a clocked input in percent (JCGM 100 5.1.6).

    `timing` is the standard uncertainty of the interval in s, the others are standard, in percent.
    """
    share = 100 * require("timing uncertainty", timing, "s", least=0) / require("time", seconds, "s", above=0)
    return math.hypot(
        share,
        require("meter uncertainty", meter_percent, "%", least=0),
        require("heating value uncertainty", heating_value_percent, "%", least=0),
    )
