"""Check values: the pair of CO2 and O2, and F-factors. Groups 13 and 14 of the list."""

from __future__ import annotations

from check import of, relative

from handsfree.trades.combustion import flue_gas as fg
from handsfree.trades.combustion import fuels, heating_value, stoichiometry

M, P, B = (fuels.FUELS[name] for name in ("methane", "propane", "butane"))
CHECKS = []


def s(fuel):
    return stoichiometry.stoichiometry(fuel)


PAIR = "computed apart: CO2 - CO2max·(20.95 - O2)/20.95"


def fuel_with_ultimate(ultimate):
    """A made-up mix of methane and propane, or methane and nitrogen, with this ultimate CO2."""
    low, high = 0.0, 1.0
    heavy = ultimate > fg.ultimate_carbon_dioxide(M)
    other = "C3H8" if heavy else "H2"
    for _ in range(60):
        middle = (low + high) / 2
        value = fg.ultimate_carbon_dioxide(fuels.gas("mix", {"CH4": 1 - middle, other: middle}))
        low, high = (middle, high) if (value < ultimate) == heavy else (low, middle)
    return fuels.gas("mix", {"CH4": 1 - low, other: low})


NG_118 = fuel_with_ultimate(11.8)
for number, fuel, co2, o2, residual, implied in (
    ("C171", NG_118, 9.4, 4.3, 0.02, 11.83),
    ("C172", NG_118, 9.9, 4.3, 0.52, 12.46),
    ("C173", NG_118, 8.9, 4.0, -0.65, 11.00),
    ("C174", NG_118, 9.5, 5.9, 1.02, 13.22),
    ("C175", P, 10.4, 5.1, -0.04, 13.75),
    ("C176", NG_118, 10.4, 5.1, 1.47, 13.75),
    ("C177", NG_118, 9.4, 5.6, 0.75, 12.83),
    ("C178", NG_118, 8.9, 5.1, -0.03, 11.76),
):
    CHECKS += [
        of(
            number,
            f"CO2 {co2} with O2 {o2}: residual",
            lambda f=fuel, c=co2, o=o2: fg.pair_residual(f, c, o),
            residual,
            0.025 if fuel is P else 0.015,
            PAIR,
        ),
        of(
            number,
            f"CO2 {co2} with O2 {o2}: implied CO2max",
            lambda c=co2, o=o2: fg.implied_fuel(c, o).ultimate,
            implied,
            0.02,
            PAIR,
        ),
    ]
CHECKS.append(
    of(
        "C179",
        "limit of the residual, both measured, U 0.3 each",
        lambda: 2 * fg.pair_residual_uncertainty(NG_118, 4.2, 0.15, 0.15),
        0.34,
        0.01,
        "JCGM 100",
    )
)

SCF = 35.3146667  # ft3 in a m3
FIRST = "first principles, 68 degF and 1 atm, gross; 40 CFR 75 differs by up to 3 %"


def f_factor(fuel, amount):
    """scf of flue gas (dry, or CO2) per million Btu gross at 20 Cel and 101.325 kPa."""
    volume = heating_value.GAS_CONSTANT * 293.15 / 101325  # m3/mol
    gross = heating_value.gas_properties(fuel, heating_value.NORMAL).gross_molar  # kJ/mol
    moles = s(fuel).dry_flue if amount == "dry" else s(fuel).carbon_dioxide  # that of the air with it
    return moles * volume * SCF / (gross / 1.05505585262e6)


for number, fuel, dry, carbon in (("C182", M, 8603, 1010), ("C183", P, 8833, 1215), ("C184", B, 8887, 1250)):
    CHECKS += [
        relative(number, f"{fuel.name}: Fd", lambda f=fuel: f_factor(f, "dry"), dry, 0.003, FIRST),
        relative(number, f"{fuel.name}: Fc", lambda f=fuel: f_factor(f, "co2"), carbon, 0.003, FIRST),
    ]
