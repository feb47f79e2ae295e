"""Check values of the tables themselves, so that no single digit of them can be wrong unseen.

Heats and factors as they stand in a public data file of ISO 6976:2016 (two cells of that file, for isobutane
and n-hexane at 60 degF, are misprints against the square root of one minus the compression factor, and
hydrogen and oxygen there are of the edition of 1995; those come from CoolProp and from memory).
"""

from __future__ import annotations

from check import of, relative

from handsfree.measurement import verdict
from handsfree.trades.combustion import components, enthalpy, flue_gas, fuels, losses, water
from handsfree.trades.combustion import gas_rate as gr

FILE = "ISO 6976:2016 tables 1 to 3 in a public data file"
EQUATIONS = "square root of 1 - Z by CoolProp's equations of state"
MEMORY = "ISO 6976:2016, from memory"

HEATS = {  # kJ/mol at 25, 20, 15.55, 15, 0 Cel
    "CH4": (890.58, 891.05, 891.46, 891.51, 892.92),
    "C2H6": (1560.69, 1561.42, 1562.06, 1562.14, 1564.35),
    "C3H8": (2219.17, 2220.13, 2220.99, 2221.10, 2224.03),
    "nC4H10": (2877.40, 2878.58, 2879.63, 2879.76, 2883.35),
    "iC4H10": (2868.20, 2869.39, 2870.45, 2870.58, 2874.21),
    "nC5H12": (3535.77, 3537.19, 3538.45, 3538.60, 3542.91),
    "iC5H12": (3528.83, 3530.25, 3531.52, 3531.68, 3536.01),
    "neoC5H12": (3514.61, 3516.02, 3517.28, 3517.44, 3521.75),
    "nC6H14": (4194.95, 4196.60, 4198.06, 4198.24, 4203.24),
    "H2": (285.83, 285.99, 286.15, 286.15, 286.63),
}
FACTORS = {  # at 20, 15.55, 15, 0 Cel
    "CH4": (0.04317, 0.04437, 0.04452, 0.04886, FILE),
    "C2H6": (0.0895, 0.0916, 0.0919, 0.0997, FILE),
    "C3H8": (0.1308, 0.1340, 0.1344, 0.1465, FILE),
    "nC4H10": (0.1785, 0.1834, 0.1840, 0.2022, FILE),
    "iC4H10": (0.1673, 0.1717, 0.1722, 0.1885, EQUATIONS),
    "nC5H12": (0.2295, 0.2354, 0.2361, 0.2586, FILE),
    "iC5H12": (0.2189, 0.2244, 0.2251, 0.2458, FILE),
    "neoC5H12": (0.1979, 0.2033, 0.2040, 0.2245, FILE),
    "nC6H14": (0.2907, 0.2990, 0.3001, 0.3319, FILE),
    "H2": (-0.0100, -0.0100, -0.0100, -0.0100, MEMORY),
    "N2": (0.0156, 0.0169, 0.0170, 0.0214, FILE),
    "CO2": (0.0730, 0.0749, 0.0752, 0.0821, FILE),
    "O2": (0.0265, 0.0275, 0.0276, 0.0311, EQUATIONS),
}
MASSES = {
    "CH4": 16.04246, "C2H6": 30.06904, "C3H8": 44.09562, "nC4H10": 58.1222, "iC4H10": 58.1222, "nC5H12": 72.14878,
    "iC5H12": 72.14878, "neoC5H12": 72.14878, "nC6H14": 86.17536, "H2": 2.0159, "N2": 28.0134, "CO2": 44.0095,
    "O2": 31.9988,
}  # fmt: skip

CHECKS = []
for formula, heats in HEATS.items():
    for celsius, heat in zip((25.0, 20.0, 15.55, 15.0, 0.0), heats, strict=True):
        CHECKS.append(
            relative(
                "table 3",
                f"{formula} gross heat at {celsius} Cel",
                lambda f=formula, t=celsius: components.COMPONENTS[f].gross_heat_at(t),
                heat,
                1e-4,
                FILE,
            )
        )
for formula, (*factors, source) in FACTORS.items():
    for celsius, factor in zip((20.0, 15.55, 15.0, 0.0), factors, strict=True):
        CHECKS.append(
            relative(
                "table 2",
                f"{formula} summation factor at {celsius} Cel",
                lambda f=formula, t=celsius: components.COMPONENTS[f].summation_at(t),
                factor,
                1e-3,
                source,
            )
        )
for formula, mass in MASSES.items():
    CHECKS.append(
        relative(
            "table 1",
            f"{formula} molar mass",
            lambda f=formula: components.COMPONENTS[f].molar_mass,
            mass,
            2e-5,
            FILE,
        )
    )
for celsius, latent in ((25.0, 44.013), (20.0, 44.222), (15.55, 44.408), (15.0, 44.431), (0.0, 45.064)):
    CHECKS.append(
        relative(
            "latent",
            f"water at {celsius} Cel",
            lambda t=celsius: components.WATER_VAPORISATION[t],
            latent,
            1e-5,
            f"{FILE}; within 0.15 % of IAPWS-95",
        )
    )
for celsius, factor in ((20.0, 0.999645), (15.55, 0.999601), (15.0, 0.999595), (0.0, 0.999419)):
    CHECKS.append(
        of(
            "air",
            f"compression factor of air at {celsius} Cel",
            lambda t=celsius: components.AIR_COMPRESSION[t],
            factor,
            5e-7,
            f"{MEMORY}; within 0.00003 of CoolProp",
        )
    )

CANTERA = "GRI-Mech 3.0 by Cantera 3.2.0"
for species, cold, hot, rise in (
    ("N2", 3.4816342, 3.8644793, 5.125746),
    ("O2", 3.5101298, 4.1322563, 5.255213),
    ("Ar", 2.5, 2.5, 3.637577),
    ("CO2", 4.1955636, 6.3712932, 7.113425),
    ("H2O", 4.0182294, 4.8092399, 5.983031),
):
    for kelvin, capacity in ((250, cold), (900, hot)):
        CHECKS.append(
            relative(
                "heat capacity",
                f"{species} cp/R at {kelvin} K",
                lambda x=species, t=kelvin: sum(a * t**n for n, a in enumerate(enthalpy.POLYNOMIALS[x])),
                capacity,
                1e-6,
                CANTERA,
            )
        )
    CHECKS.append(
        relative(
            "enthalpy",
            f"{species} from 25 to 200 Cel",
            lambda x=species: enthalpy.sensible(x, 200),
            rise,
            1e-6,
            CANTERA,
        )
    )

for kelvin, pressure in ((274.15, 0.657088049), (300, 3.53658941), (350, 41.6818004), (473, 1549.79992)):
    CHECKS.append(
        relative(
            "IF97",
            f"vapour pressure at {kelvin} K",
            lambda t=kelvin: water.saturation_pressure(t - 273.15),
            pressure,
            1e-8,
            "IAPWS-IF97 by CoolProp 8.0.0; 300 K is the value of its table 35",
        )
    )
CHECKS += [
    relative(
        "ice", "over ice at 230 K", lambda: water.saturation_pressure(-43.15), 8.94735e-3, 1e-6, "IAPWS R14-08"
    ),
    relative(
        "latent", "water at 25 Cel", lambda: -enthalpy.liquid_water(25), 43.99, 2e-4, "IAPWS-95: 2441.7 kJ/kg"
    ),
    relative(
        "liquid",
        "water from 20 to 60 Cel",
        lambda: enthalpy.liquid_water(60) - enthalpy.liquid_water(20),
        3.01335,
        2e-3,
        "IAPWS-95 by CoolProp",
    ),
    relative("units", "a pound-force per square inch in kPa", lambda: gr.PSI, 6.894757, 1e-6, "NIST SP 811"),
]
_METHANE, _OIL = fuels.FUELS["methane"], fuels.FUELS["heating oil"]
CHECKS += [
    *(
        of(
            "composition",
            f"{fuel.name}: mole fractions add up to one",
            lambda f=fuel: sum(f.composition.values()),
            1.0,
            1e-6,
            "definition; ISO 6976:2016 asks for it",
        )
        for fuel in fuels.FUELS.values()
        if fuel.gaseous
    ),
    of(
        "natural gas",
        "half the spread of published ultimate CO2, 11.7 to 12.1",
        lambda: fuels.FUELS["natural gas"].spread,
        0.2,
        1e-4,
        "the published values 11.7, 11.8, 11.9, 12.0 and 12.1",
    ),
    relative(
        "oil",
        "nitrogen of the oil, mol/kg",
        lambda: _OIL.elements.nitrogen,
        0.14278881,
        1e-5,
        "atomic weights by chemicals",
    ),
    relative(
        "oil",
        "sulphur of the oil, mol/kg",
        lambda: _OIL.elements.sulphur,
        0.03118665,
        1e-5,
        "atomic weights by chemicals",
    ),
    relative(
        "air",
        "ultimate CO2 of methane",
        lambda: flue_gas.ultimate_carbon_dioxide(_METHANE),
        11.7428262,
        1e-6,
        "element bookkeeping of Cantera 3.2.0 with the same air",
    ),
    relative(
        "air",
        "argon in dry air",
        lambda: losses._ARGON_OF_INERT * 0.79014,
        0.00934,
        1e-4,
        "US Standard Atmosphere 1976",
    ),
    relative(
        "humidity",
        "air of 20 Cel and 50 %",
        lambda: water.humidity(20, 50),
        0.0116779,
        1e-5,
        "IAPWS-IF97 by CoolProp",
    ),
    relative(
        "gas law",
        "gas at 15 Cel and sea level, to 0 Cel",
        lambda: gr.correction_factor(0.0, 101.325, 15.0, gr.NORMAL),
        273.15 / 288.15,
        1e-6,
        "gas law",
    ),
    of(
        "guard band",
        "probability asked for near a hazard",
        lambda: verdict.GUARDED.required,
        0.975,
        0,
        "ILAC-G8:09/2019: w = U keeps false acceptance under 2.5 %",
    ),
    of(
        "guard band",
        "probability from which within is demonstrated",
        lambda: verdict.IN_BAND_PASSES.required,
        0.95,
        0,
        "ISO 14253-1:2017: false acceptance under 5 %",
    ),
]
