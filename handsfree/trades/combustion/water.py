"""Water vapour: saturation pressure, dew point, humidity of the combustion air. kPa and degrees Celsius."""

from __future__ import annotations

import math

from handsfree.trades.combustion.bounds import require

_REGION_4 = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
    0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip
"""IAPWS-IF97, region 4, table 34."""

_SUBLIMATION = (
    (-0.212144006e2, 0.333333333e-2),
    (0.273203819e2, 0.120666667e1),
    (-0.610598130e1, 0.170333333e1),
)
"""IAPWS R14-08(2011), vapour pressure over ice."""

COLDEST, HOTTEST = -50.0, 200.0


def saturation_pressure(celsius: float) -> float:
    """Return the vapour pressure of water in kPa, over ice below 0.01 degrees (IAPWS-IF97; IAPWS R14-08)."""
    kelvin = require("temperature", celsius, "Cel", least=COLDEST, most=HOTTEST) + 273.15
    if kelvin < 273.16:
        theta = kelvin / 273.16
        return 0.611657 * math.exp(sum(a * theta**b for a, b in _SUBLIMATION) / theta)
    n = _REGION_4
    t = kelvin + n[8] / (kelvin - n[9])
    a = t * t + n[0] * t + n[1]
    b = n[2] * t * t + n[3] * t + n[4]
    c = n[5] * t * t + n[6] * t + n[7]
    root: float = 2 * c / (-b + math.sqrt(b * b - 4 * a * c))
    return 1000 * root**4


def dew_point(vapour_pressure: float) -> float:
    """Return the temperature in degrees Celsius at which this vapour pressure in kPa is saturated."""
    pressure = require(
        "vapour pressure",
        vapour_pressure,
        "kPa",
        least=saturation_pressure(COLDEST),
        most=saturation_pressure(HOTTEST),
    )
    low, high = COLDEST, HOTTEST
    while high - low > 1e-9:
        middle = (low + high) / 2
        low, high = (middle, high) if saturation_pressure(middle) < pressure else (low, middle)
    return (low + high) / 2


def humidity(celsius: float, relative_percent: float, pressure: float = 101.325) -> float:
    """Return moles of water per mole of dry air at a temperature, relative humidity and pressure in kPa."""
    share = require("relative humidity", relative_percent, "%", least=0, most=100) / 100
    vapour = share * saturation_pressure(celsius)
    return vapour / (require("air pressure", pressure, "kPa", above=vapour) - vapour)
