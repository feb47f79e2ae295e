"""Check values: air-free CO, CO/CO2, CO by mass. Group 4 of the list."""

from __future__ import annotations

from check import of, relative

from handsfree.trades.combustion import flue_gas as fg
from handsfree.trades.combustion import fuels, heating_value, stoichiometry

M, P = fuels.FUELS["methane"], fuels.FUELS["propane"]
CHECKS = []
ARTICLE = "trade article on CO testing"
FREE = "formula of air-free limits, computed apart"
for number, ppm, o2, free, source in (
    ("C052", 50, 7.0, 75.2, ARTICLE),
    ("C053", 1200, 6.0, 1683.2, ARTICLE),
    ("C054", 80, 4.5, 102.0, FREE),
    ("C055", 25, 9.0, 43.9, FREE),
):
    CHECKS.append(
        relative(
            number,
            f"CO {ppm} at O2 {o2}: air-free",
            lambda p=ppm, o=o2: fg.air_free_carbon_monoxide(p, o),
            free,
            0.0006,
            source,
        )
    )
    CHECKS.append(
        relative(
            number,
            f"CO {ppm} at O2 {o2}: air-free by CO2",
            lambda p=ppm, o=o2: fg.air_free_carbon_monoxide_from_carbon_dioxide(
                M, p, fg.carbon_dioxide_from_oxygen(M, o)
            ),
            free,
            0.006,
            source,
        )
    )
CHECKS += [
    of("C056", "CO 40 with CO2 8: ratio", lambda: fg.carbon_monoxide_ratio(40, 8), 0.0005, 1e-9, "arithmetic"),
    of(
        "C057",
        "CO 360 with CO2 9: ratio",
        lambda: fg.carbon_monoxide_ratio(360, 9),
        0.004,
        1e-9,
        "UK industry body",
    ),
    of(
        "C057",
        "CO 360 with CO2 9, methane: air-free",
        lambda: fg.air_free_carbon_monoxide_from_carbon_dioxide(M, 360, 9),
        470,
        1,
        "computed for CO2max 11.74",
    ),
    of(
        "C058",
        "400 ppm air-free on methane as a ratio",
        lambda: fg.carbon_monoxide_ratio(400, fg.ultimate_carbon_dioxide(M)),
        0.00341,
        0.00003,
        "ANSI Z21 limit",
    ),
    of(
        "C058",
        "400 ppm air-free on propane as a ratio",
        lambda: fg.carbon_monoxide_ratio(400, fg.ultimate_carbon_dioxide(P)),
        0.00291,
        0.00003,
        "ANSI Z21 limit",
    ),
    of("C059", "CO 720 with CO2 9: ratio", lambda: fg.carbon_monoxide_ratio(720, 9), 0.008, 1e-9, "trade text"),
    of(
        "C060",
        "CO 160 at O2 4.2: air-free",
        lambda: fg.air_free_carbon_monoxide(160, 4.2),
        200,
        1.3,
        "makers' manuals",
    ),
    of(
        "C062", "CO 100 ppm in mg/m3", lambda: fg.milligrams_per_cubic_metre(100), 125, 0.1, "M/Vm = 28.010/22.414"
    ),
]


def milligrams_per_kilowatt_hour(ppm, oxygen, basis):
    """CO of methane in mg/kWh: dry flue gas per mole, and the molar heating value at 25 Cel."""
    gas = stoichiometry.flue_gas(M, fg.air_ratio_from_oxygen(M, oxygen))
    properties = heating_value.gas_properties(M, heating_value.NORMAL)
    heat = properties.net_molar if basis == "net" else properties.gross_molar
    return fg.milligrams_per_cubic_metre(ppm) * 22.41397e-3 * gas.dry_volume / heat * 3600


MASS = "atom balance and heating values of a reaction mechanism (GRI-Mech 3.0 by Cantera)"
CHECKS += [
    of("C063", "CO 100 at O2 3: mg/kWh net", lambda: milligrams_per_kilowatt_hour(100, 3, "net"), 125, 1, MASS),
    of(
        "C063", "CO 100 at O2 3: mg/kWh gross", lambda: milligrams_per_kilowatt_hour(100, 3, "gross"), 113, 1, MASS
    ),
]
