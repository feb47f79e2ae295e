"""How many single-word mishearings of a CO2 or O2 reading physics catches, and how often it alarms in vain.

Run: python tests/bench/arithmetic/check_digit.py [sets]
Made-up visits on natural gas, with a composition drawn in the spread of what is sold: an analyser that measures
CO2 (errors of both cells drawn once a visit, normal with U = 0.3, k = 2) or computes it from O2 (with an
ultimate CO2 of its own, 11.7 to 12.0); displays of 0.1, one digit of flicker between two glances in a tenth of
the sets. One spoken digit is replaced by another: any digit, or one of the pairs that sound alike. A catch is a
pair called inconsistent, so asked again; a false alarm is the same on the true pair. With the true and the
misheard value heard equally well, one is accepted whose prior leads by the margin of fusion and which fits its
pair.
"""

from __future__ import annotations

import random
import sys
from collections import defaultdict
from dataclasses import replace
from decimal import Decimal

from handsfree.measurement.reading import Reading
from handsfree.measurement.verdict import Band
from handsfree.session.margins import MARGINS
from handsfree.trades.combustion.flue_gas import carbon_dioxide_from_oxygen
from handsfree.trades.combustion.fuels import FUELS, Fuel, gas
from handsfree.trades.combustion.plausibility import Situation, judge_pair, log_prior

ALIKE = {"5": "9", "9": "5", "1": "9", "4": "5", "2": "3", "3": "2", "6": "8", "8": "6", "0": "4", "7": "1"}
BAND = Band(Decimal("9.0"), Decimal("9.7"), "invented sheet")
Pair = tuple[Decimal, Decimal]


def drawn_gas(draw: random.Random) -> Fuel:
    """A natural gas with more or less ethane, propane and inert gas."""
    shares = {
        "C2H6": draw.uniform(0.01, 0.06), "C3H8": draw.uniform(0, 0.015), "N2": draw.uniform(0, 0.03),
        "CO2": draw.uniform(0, 0.015),
    }  # fmt: skip
    return gas("drawn", {"CH4": 1 - sum(shares.values()), **shares})


class Analyser:
    """One instrument on one visit: its cells' errors stay the same."""

    def __init__(self, draw: random.Random, computes: bool) -> None:
        self.draw, self.computes, self.fuel = draw, computes, drawn_gas(draw)
        self.oxygen_error, self.carbon_error = draw.gauss(0, 0.15), draw.gauss(0, 0.15)
        self.table = draw.choice((11.7, 11.8, 11.9, 12.0))

    def set_at(self, true_oxygen: float) -> Pair:
        """One set as displayed: O2 and CO2, 0.1 resolution."""
        oxygen = min(max(true_oxygen + self.oxygen_error, 0.0), 20.9)
        if self.computes:
            carbon = self.table * (1 - oxygen / 20.946)
        else:
            carbon = carbon_dioxide_from_oxygen(self.fuel, true_oxygen) + self.carbon_error
        flicker = self.draw.choice((-0.1, 0.1)) if self.draw.random() < 0.1 else 0.0
        return Decimal(f"{carbon:.1f}"), Decimal(f"{oxygen + flicker:.1f}")


def reading(quantity: str, value: Decimal) -> Reading:
    return Reading(quantity, value, "%", Decimal("0.1"))


def misheard(value: Decimal, draw: random.Random, alike: bool) -> Decimal:
    """The value with one spoken digit replaced."""
    digits = list(f"{value}")
    place = draw.choice([i for i, c in enumerate(digits) if c != "."])
    digits[place] = ALIKE[digits[place]] if alike else draw.choice([c for c in "0123456789" if c != digits[place]])
    return Decimal("".join(digits))


def consistent(situation: Situation, pair: Pair) -> bool:
    return judge_pair(situation, reading("co2", pair[0]), reading("o2", pair[1])).consistent


def changes_verdict(true: Decimal, heard: Decimal) -> bool:
    return BAND.holds(true) != BAND.holds(heard)


def measure(
    visits: int, computes: bool, seed: int = 7, analyser_known: bool = False
) -> dict[str, tuple[int, int]]:
    """Return (hits, chances) by name, three sets a visit."""
    draw = random.Random(seed)
    tally: dict[str, list[int]] = defaultdict(lambda: [0, 0])

    def count(name: str, hit: bool) -> None:
        tally[name][0] += hit
        tally[name][1] += 1

    for _ in range(visits):
        analyser = Analyser(draw, computes)
        table = Decimal(repr(analyser.table)) if computes and analyser_known else None
        pairs: tuple[Pair, ...] = ()
        for number in range(3):
            true = analyser.set_at(draw.uniform(3.0, 7.5))
            situation = Situation(
                FUELS["natural gas"], co2_computed=computes, analyser_ultimate=table, co2_band=BAND, pairs=pairs
            )
            which = "first set" if number == 0 else "later sets"
            fits = consistent(situation, true)
            count(f"false alarms, {which}", not fits)
            for alike in (False, True):
                place = draw.choice((0, 1))
                heard = misheard(true[place], draw, alike)
                wrong = (heard, true[1]) if place == 0 else (true[0], heard)
                kind = "sound-alikes" if alike else "any digit"
                caught = not consistent(situation, wrong)
                count(f"caught, {kind}, {which}", caught)
                if place == 0 and changes_verdict(true[0], heard):
                    count(f"caught, {kind}, verdict would change, {which}", caught)
                quantity, known_half = (
                    reading(("co2", "o2")[place], heard),
                    reading(("o2", "co2")[place], true[1 - place]),
                )
                beside = replace(situation, this_set={known_half.quantity: known_half})
                lead = log_prior(beside, quantity) - log_prior(beside, replace(quantity, value=true[place]))
                count(
                    f"equal alternatives: accepted wrong, {kind}, {which}",
                    lead >= MARGINS.ours_value and not caught and heard != true[place],
                )
                count(
                    f"equal alternatives: accepted right, {kind}, {which}",
                    -lead >= MARGINS.ours_value and fits,
                )
            if fits:
                pairs = (*pairs, true)
    return {name: (hits, chances) for name, (hits, chances) in tally.items()}


def main() -> None:
    visits = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    for computes, known, title in (
        (False, False, "analyser measures CO2"),
        (True, False, "analyser computes CO2, its ultimate CO2 unknown"),
        (True, True, "analyser computes CO2, its ultimate CO2 on the job sheet"),
    ):
        print(f"\n{title}: {visits} visits of three sets")
        for name, (hits, chances) in sorted(measure(visits, computes, analyser_known=known).items()):
            print(f"  {name}: {hits / chances:.1%} ({hits} of {chances})")


if __name__ == "__main__":
    main()
