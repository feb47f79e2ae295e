"""How many times a technician speaks on each shipped visit: python tests/bench/visit/utterances.py [NAME...].

Prints utterances with their goal, "confirmed" among them, turns, minutes of waits and speech, and how it ends: for
a boiler found in its band, and where the visit adjusts for one found lean. A technician who goes along without a
slip, and is heard without a doubt, is counted: `handsfree demo --procedure NAME` tells what noise and slips add.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "session" / "support"))

from led import Led, lead, plan_of

from handsfree.demo.goals import GOALS, IN_BAND
from handsfree.procedure.procedure import load_procedure
from handsfree.shipped import shipped_procedures

BOILERS = {
    "in band": IN_BAND,
    "lean": {"maximum": 8.55, "minimum": 8.6},
    "leaner": {"maximum": 8.3, "minimum": 8.4},
}


def visits() -> list[str]:
    """Return the shipped visits at a boiler: procedures of combustion that end in a finish of their own."""
    files = shipped_procedures()
    known = [load_procedure(path) for path in files]
    return [one.name for one in known if not one.file.exits and one.trade.name == "combustion"]


def row(name: str, boiler: str, led: Led) -> str:
    """Return one line of the table."""
    confirmed = sum(text == "confirmed" for _, text in led.said)
    minutes = led.visit.state.now / 60_000
    end = led.visit.state.outcome or f"stopped at {led.visit.state.gate}"
    goals = GOALS.get(name, {})
    goal = next((goals[most] for most in sorted(goals) if led.turns <= most), "")
    counts = f"{led.utterances:>10} {goal:>5} {confirmed:>10} {led.turns:>6} {minutes:>8.0f}"
    return f"{name:<24} {boiler:<8} {counts}  {end}"


def main(names: list[str]) -> None:
    """Lead each visit on each boiler and print what was said."""
    counts = f"{'utterances':>10} {'goal':>5} {'confirmed':>10} {'turns':>6} {'minutes':>8}"
    print(f"{'visit':<24} {'boiler':<8} {counts}  ends")
    for name in names or visits():
        plan = plan_of(name)
        for boiler, co2 in BOILERS.items():
            if boiler == "in band" or plan.procedure.adjusts:
                print(row(name, boiler, lead(plan, co2=co2)))


if __name__ == "__main__":
    main(sys.argv[1:])
