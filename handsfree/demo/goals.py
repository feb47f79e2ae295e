"""How often a technician should have to speak on a shipped visit: our own goals, no source."""

from __future__ import annotations

IN_BAND = {"maximum": 9.4, "minimum": 9.3}
"""CO2 in per cent at each rate of a boiler found inside the invented band and rule: 8.9 to 9.9, 0.2 between."""

GOALS = {"annual-service": {0: 105}, "combustion-check": {0: 34}, "commissioning": {0: 140, 4: 200}}
"""Visit -> most turns -> the most utterances, for one who makes no slip and is heard without a doubt."""


def goal_told(visit: str, said: int, turns: int) -> str:
    """Return how often was spoken against the goal for as many turns, in a sentence."""
    goals = GOALS.get(visit, {})
    most = next((most for most in sorted(goals) if turns <= most), None)
    counted = f"{said} utterances, {turns} turn{'' if turns == 1 else 's'}"
    if most is None:
        given = "; ".join(f"{goal} with {turns or 'no'} turns" for turns, goal in goals.items())
        return f"{counted}; no goal is set for that" + (f" (set is: {given})." if given else ".")
    goal = goals[most]
    stands = (
        f"{said - goal} over it; the slips that are written into the demo count too"
        if said > goal
        else "within it"
    )
    return f"{counted}; goal {goal} with {most or 'no'} turns: {stands}."
