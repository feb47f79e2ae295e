"""Check values: gas rate, altitude, change of gas and air. Groups 8 to 10 of the list."""

from __future__ import annotations

import math
from decimal import Decimal

from check import of, relative

from handsfree.trades.combustion import altitude as al
from handsfree.trades.combustion import flue_gas as fg
from handsfree.trades.combustion import fuels, heating_value, losses, stoichiometry
from handsfree.trades.combustion import gas_rate as gr
from handsfree.units import convert

F = fuels.FUELS
M, NG_A, NG_B, RICH = F["methane"], F["natural gas with ethane"], F["natural gas"], F["rich natural gas"]
FT3 = 0.028316846592  # m3, exact
SEVEN_INCHES = float(convert(Decimal(7), "[in_i'H2O]", "kPa"))
MJ_PER_BTU_FT3 = 1055.05585262e-6 / FT3


def feet_per_hour(feet, seconds):
    return gr.gas_rate(feet * FT3, seconds) / FT3


def btu_per_hour(feet, seconds, btu_per_foot):
    rate = gr.gas_rate(feet * FT3, seconds)
    return gr.heat_input(rate, btu_per_foot * MJ_PER_BTU_FT3, "gross").btu_per_hour


TRAINING = "training page on clocking a meter"
CHECKS = [
    relative("C114", "half a foot in 29 s: ft3/h", lambda: feet_per_hour(0.5, 29), 62.07, 1e-4, TRAINING),
    relative("C114", "half a foot in 29 s: Btu/h", lambda: btu_per_hour(0.5, 29, 1000), 62070, 1e-4, TRAINING),
    relative(
        "C115", "one foot in 36 s: ft3/h", lambda: feet_per_hour(1, 36), 100, 1e-9, "timing table of the trade"
    ),
    relative("C115", "one foot in 36 s: Btu/h", lambda: btu_per_hour(1, 36, 1000), 100_000, 1e-9, "timing table"),
    relative(
        "C115",
        "one foot in 36 s: kW",
        lambda: gr.heat_input(gr.gas_rate(FT3, 36), 1000 * MJ_PER_BTU_FT3, "gross").kilowatts,
        29.31,
        2e-4,
        "units",
    ),
    relative(
        "C116", "two feet in 48 s: Btu/h", lambda: btu_per_hour(2, 48, 1030), 154_500, 1e-4, "computed apart"
    ),
    of("C117", "0.088 m3 in 122 s: m3/h", lambda: gr.gas_rate(0.088, 122), 2.597, 0.0005, "gas fitters' note"),
    of(
        "C117",
        "the same at 10.76 kWh/m3: kW gross",
        lambda: gr.heat_input(gr.gas_rate(0.088, 122), 10.76 * 3.6, "gross").kilowatts,
        27.94,
        0.01,
        "gas fitters' note",
    ),
    of(
        "C117",
        "the same at 1.11: kW net",
        lambda: gr.on_basis(gr.HeatInput(27.94, "gross"), "net", 1.11).kilowatts,
        25.17,
        0.01,
        "gas fitters' note",
    ),
    of("C118", "0.01 m3 in 16 s: m3/h", lambda: gr.gas_rate(0.01, 16), 2.25, 1e-9, "worked example in a forum"),
    of("C118", "the same in ft3/h", lambda: gr.gas_rate(0.01, 16) / FT3, 79.46, 0.01, "worked example in a forum"),
    relative(
        "C119", "propane, a foot in 90 s: Btu/h", lambda: btu_per_hour(1, 90, 2516), 100_640, 1e-3, "2516 Btu/ft3"
    ),
    of(
        "C120",
        "UK factor: 21 mbar, 12.2 Cel, 67.5 m",
        lambda: gr.correction_factor(2.1, al.standard_pressure(67.5), 12.2),
        1.02264,
        0.0003,
        "UK statutory factor",
    ),
    of(
        "C121",
        "20 mbar, barometer 1000 mbar, 10 Cel",
        lambda: gr.correction_factor(2.0, 100.0, 10),
        1.0244,
        0.0002,
        "gas law, computed apart",
    ),
    of(
        "C122",
        "7 in w.c., 14.40 psia, 50 degF",
        lambda: gr.correction_factor(SEVEN_INCHES, 14.40 * gr.PSI, 10.0, gr.US_STANDARD),
        1.0143,
        0.0003,
        "gas law, computed apart",
    ),
    of(
        "C123",
        "7 in w.c., 12.10 psia, 60 degF",
        lambda: gr.correction_factor(SEVEN_INCHES, 12.10 * gr.PSI, (60 - 32) / 1.8, gr.US_STANDARD),
        0.8386,
        0.0005,
        "gas law, computed apart",
    ),
    relative("C124", "1 kW in Btu/h", lambda: gr.HeatInput(1, "gross").btu_per_hour, 3412.14, 2e-6, "definition"),
    relative("C124", "a cubic foot in m3", lambda: gr.CUBIC_FOOT, 0.0283168, 2e-6, "definition"),
    relative("C124", "100 000 Btu in kWh", lambda: 1e5 * gr.BTU / 3.6e6, 29.307, 2e-5, "definition of the therm"),
    of(
        "C125",
        "27.94 kW gross over 24.0 kW net, in %",
        lambda: gr.over_rated_percent(
            gr.on_basis(gr.HeatInput(27.94, "gross"), "net", 1.11), gr.HeatInput(24.0, "net")
        ),
        4.9,
        0.1,
        "computed apart",
    ),
    of(
        "C126",
        "36 ± 0.5 s, meter 1.5 %, heating value 1 %",
        lambda: gr.input_uncertainty_percent(36, 0.5, 1.5, 1.0),
        2.28,
        0.01,
        "JCGM 100, computed apart",
    ),
]

ATMOSPHERE = "US Standard Atmosphere 1976 by fluids 1.3.1"
for number, metres, pressure in (
    ("C127", 610, 94.21),
    ("C128", 1372, 85.90),
    ("C129", 1609, 83.43),
    ("C130", 3048, 69.69),
):
    CHECKS.append(
        of(number, f"{metres} m: pressure", lambda h=metres: al.standard_pressure(h), pressure, 0.01, ATMOSPHERE)
    )
CHECKS += [
    *(
        of(
            "C134",
            f"methane at 1.25, {metres} m: dew point",
            lambda h=metres: losses.flue_gas_dew_point(stoichiometry.flue_gas(M, 1.25), al.standard_pressure(h)),
            point,
            0.1,
            "atom balance and CoolProp IF97",
        )
        for metres, point in ((0, 54.9), (1609, 50.9))
    ),
]


def flow_to_need(fuel):
    """What a fixed opening lets through, over its need of air: the air ratio of a set burner goes with it."""
    return math.sqrt(heating_value.gas_properties(fuel).relative_density) / stoichiometry.stoichiometry(fuel).air


ORIFICE = "ISO 6976 tables and atom balance, air ratio with √(relative density)/air need"
for number, before, co2, after, start, end, co2_after, o2_after in (
    ("C137", M, 9.0, F["G25"], 1.274, 1.557, 7.17, 7.94),
    ("C138", M, 9.0, F["G21"], 1.274, 1.182, 10.24, 3.52),
    ("C139", M, 9.0, F["G23"], 1.274, 1.415, 7.98, 6.59),
    ("C140", M, 9.0, F["G222"], 1.274, 1.375, 7.76, 6.22),
    ("C141", NG_B, 9.4, F["natural gas with 20 % hydrogen"], 1.238, 1.323, 8.29, 5.57),
    ("C142", NG_B, 9.4, NG_A, 1.238, 1.247, 9.39, 4.52),
    ("C143", RICH, 9.4, M, 1.263, 1.252, 9.17, 4.60),
):

    def shifted(b=before, c=co2, a=after):
        return fg.air_ratio_from_carbon_dioxide(b, c) * flow_to_need(a) / flow_to_need(b)

    CHECKS += [
        of(
            number,
            f"{before.name} at CO2 {co2}: air ratio",
            lambda b=before, c=co2: fg.air_ratio_from_carbon_dioxide(b, c),
            start,
            0.002,
            ORIFICE,
        ),
        of(number, f"{before.name} to {after.name}: air ratio", shifted, end, 0.003, ORIFICE),
        of(
            number,
            f"{before.name} to {after.name}: CO2",
            lambda a=after, f=shifted: 100 * stoichiometry.flue_gas(a, f()).carbon_dioxide,
            co2_after,
            0.03,
            ORIFICE,
        ),
        of(
            number,
            f"{before.name} to {after.name}: O2",
            lambda a=after, f=shifted: 100 * stoichiometry.flue_gas(a, f()).oxygen,
            o2_after,
            0.05,
            ORIFICE,
        ),
    ]


def in_cold_air():
    """A fan moves the same volume, and colder air is denser: the air ratio goes with the root of the density."""
    return fg.air_ratio_from_carbon_dioxide(M, 9.4) * math.sqrt((20 + 273.15) / (-10 + 273.15))


COLD = "computed with √(air density); a maker's text: colder days lower CO2"
CHECKS += [
    of(
        "C144",
        "methane set at CO2 9.4, air from 20 to -10 Cel: CO2",
        lambda: 100 * stoichiometry.flue_gas(M, in_cold_air()).carbon_dioxide,
        8.86,
        0.02,
        COLD,
    ),
    of("C144", "the same: O2", lambda: 100 * stoichiometry.flue_gas(M, in_cold_air()).oxygen, 5.15, 0.02, COLD),
]
