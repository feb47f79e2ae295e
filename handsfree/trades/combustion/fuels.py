"""The fuels a burner is set up on, each a composition in mole fractions with the spread of what is sold.

Compositions of the test gases (G20 to G31) are those of EN 437, from memory; the natural gases are typical
compositions, common practice, no source; the rich one is ISO 6976:2016 annex D example 3.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from handsfree.problem import Problem
from handsfree.trades.combustion.bounds import require
from handsfree.trades.combustion.components import ALIASES, COMPONENTS


@dataclass(frozen=True)
class Elements:
    """Moles of each element, per mole of a gas or per kilogram of an oil."""

    carbon: float
    hydrogen: float
    oxygen: float = 0.0
    nitrogen: float = 0.0
    sulphur: float = 0.0


@dataclass(frozen=True)
class Fuel:
    """A fuel by composition: mole fractions for a gas, none for an oil (given by its elements)."""

    name: str
    fractions: tuple[tuple[str, float], ...]
    elements: Elements
    spread: float
    """Half-width, in points of ultimate CO2, of what is delivered under this name (0 for a test gas)."""
    source: str

    @property
    def gaseous(self) -> bool:
        """Whether the fuel is a gas, so that volumes, density and Wobbe index mean something."""
        return bool(self.fractions)

    @cached_property
    def composition(self) -> dict[str, float]:
        """Mole fractions by formula; raises Problem for an oil."""
        if not self.gaseous:
            raise Problem(f"{self.name} is not a gas: it has no composition in mole fractions")
        return dict(self.fractions)

    def diluted_with_hydrogen(self, percent: float) -> Fuel:
        """Return this gas with so many mol % of hydrogen mixed in."""
        share = require("hydrogen share", percent, "mol %", least=0, below=100) / 100
        mixed = {formula: fraction * (1 - share) for formula, fraction in self.composition.items()}
        mixed["H2"] = mixed.get("H2", 0.0) + share
        return gas(f"{self.name} with {percent:g} % hydrogen", mixed, self.spread, self.source)


def gas(name: str, fractions: Mapping[str, float], spread: float = 0.0, source: str = "given composition") -> Fuel:
    """Return a gas fuel from mole fractions that add up to one."""
    elements = Elements(
        *(
            sum(fraction * getattr(COMPONENTS[formula], element) for formula, fraction in fractions.items())
            for element in ("carbon", "hydrogen", "oxygen", "nitrogen")
        )
    )
    return Fuel(name, tuple(fractions.items()), elements, spread, source)


_NATURAL = {"CH4": 0.950, "C2H6": 0.030, "C3H8": 0.005, "N2": 0.010, "CO2": 0.005}
_TYPICAL = "typical composition, common practice, no source"
_EN_437 = "EN 437 test gas, from memory"

_METHANE = gas("methane", {"CH4": 1.0}, 0.0, "pure gas; EN 437 G20")
_NATURAL_GAS = gas("natural gas", _NATURAL, 0.2, _TYPICAL)

FUELS: dict[str, Fuel] = {
    fuel.name: fuel
    for fuel in (
        _METHANE,
        gas("ethane", {"C2H6": 1.0}, 0.0, "pure gas"),
        _NATURAL_GAS,
        gas(
            "natural gas with ethane",
            {"CH4": 0.930, "C2H6": 0.035, "C3H8": 0.008, "nC4H10": 0.003, "N2": 0.015, "CO2": 0.009},
            0.2,
            _TYPICAL,
        ),
        gas(
            "rich natural gas",
            {
                "CH4": 0.922393,
                "C2H6": 0.025358,
                "C3H8": 0.015190,
                "nC4H10": 0.000523,
                "iC4H10": 0.001512,
                "nC5H12": 0.002846,
                "iC5H12": 0.002832,
                "neoC5H12": 0.001015,
                "nC6H14": 0.002865,
                "N2": 0.010230,
                "CO2": 0.015236,
            },
            0.2,
            "ISO 6976:2016 annex D example 3",
        ),
        _NATURAL_GAS.diluted_with_hydrogen(5),
        _NATURAL_GAS.diluted_with_hydrogen(10),
        _NATURAL_GAS.diluted_with_hydrogen(20),
        gas("propane", {"C3H8": 1.0}, 0.1, "pure gas; EN 437 G31"),
        gas("butane", {"nC4H10": 1.0}, 0.1, "pure n-butane"),
        gas(
            "propane and butane",
            {"C3H8": 0.70, "nC4H10": 0.30},
            0.15,
            "a 70/30 mix, common practice, no source",
        ),
        gas("G21", {"CH4": 0.87, "C3H8": 0.13}, 0.0, _EN_437),
        gas("G23", {"CH4": 0.925, "N2": 0.075}, 0.0, _EN_437),
        gas("G25", {"CH4": 0.86, "N2": 0.14}, 0.0, _EN_437),
        gas("G222", {"CH4": 0.77, "H2": 0.23}, 0.0, _EN_437),
        gas("G30", {"nC4H10": 0.50, "iC4H10": 0.50}, 0.0, _EN_437),
        Fuel(
            "heating oil",
            (),
            # Mass fractions C 86.5, H 13.2, N 0.2, S 0.1 % of a typical No. 2 oil; mol per kg.
            Elements(865 / 12.0107, 132 / 1.00794, 0.0, 2 / 14.0067, 1 / 32.065),
            0.15,
            "typical No. 2 oil by mass, from memory",
        ),
    )
}

_OTHER_NAMES = {"g20": "methane", "g31": "propane", "ng": "natural gas", "lp": "propane", "lp gas": "propane"}


def fuel_named(name: str) -> Fuel:
    """Return the fuel of that name; an unknown name is a Problem that suggests the nearest ones."""
    wanted = " ".join(name.replace("-", " ").replace("_", " ").lower().split())
    wanted = _OTHER_NAMES.get(wanted, wanted)
    known = {key.lower(): key for key in FUELS}
    if wanted in known:
        return FUELS[known[wanted]]
    near = difflib.get_close_matches(wanted, [*known, *_OTHER_NAMES], n=3, cutoff=0.5)
    names = near or sorted(FUELS)
    raise Problem(f"no fuel is called '{name}'", remedy=f"nearest names: {', '.join(names)}")


def fuel_of_composition(text: str) -> Fuel:
    """Read 'CH4=89.0,C2H6=4.2,...' in mol % and return that gas.

    The shares must add up to 100 within half a percent and are then scaled to it exactly.
    """
    shares: dict[str, float] = {}
    for part in text.split(","):
        formula, equals, number = (piece.strip() for piece in part.partition("="))
        formula = ALIASES.get(formula, formula)
        if not equals or formula not in COMPONENTS:
            raise Problem(
                f"'{part.strip()}' is no component",
                remedy=f"write FORMULA=mol %; known: {', '.join(COMPONENTS)}",
            )
        if formula in shares:
            raise Problem(f"{formula} stands twice in the composition")
        try:
            share = float(number)
        except ValueError:
            raise Problem(f"the share of {formula} is not a number: '{number}'") from None
        shares[formula] = require(f"share of {formula}", share, "mol %", least=0, most=100)
    total = sum(shares.values())
    if abs(total - 100) > 0.5:
        raise Problem(f"the composition adds up to {total:g} mol %, not 100")
    fuel = gas("given gas", {formula: share / total for formula, share in shares.items() if share > 0})
    if fuel.elements.carbon + fuel.elements.hydrogen / 4 <= fuel.elements.oxygen / 2:
        raise Problem("nothing in that composition burns")
    return fuel
