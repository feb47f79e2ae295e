"""What decides branches and conditions along a visit: facts of the sheets, the same throughout, and answers."""

from __future__ import annotations

from handsfree.gates.when import NOT_COME_TO, is_fact
from handsfree.procedure.branching import deciders, facts_with_choices, may_leave, may_open
from handsfree.procedure.procedure import PlacedGate, Procedure


def at_first(procedure: Procedure, decider: str) -> tuple[str, ...]:
    """Return every value that a decider may have as a visit begins."""
    return facts_with_choices(procedure.trade.sheets)[decider] if is_fact(decider) else (NOT_COME_TO,)


def answered(deciding: tuple[str, ...], values: tuple[str, ...], gate_id: str, outcome: str) -> tuple[str, ...]:
    """Return the values of what decides once a gate was left by an outcome."""
    if gate_id not in deciding:
        return values
    place = deciding.index(gate_id)
    return (*values[:place], outcome, *values[place + 1 :])


class PathDeciders:
    """What one path leaves open of the facts of the sheets, and the answers given on it."""

    def __init__(self, procedure: Procedure) -> None:
        self._procedure = procedure
        self._answers: dict[str, str] = {}
        self._met: dict[str, None] = {}
        self._facts: list[dict[str, str]] = [{}]
        """Every combination of the facts met that the path so far can happen with."""

    def take(self, placed: PlacedGate, outcome: str) -> bool:
        """Leave the gate by the outcome, or open it where that is empty; False when no sheet lets that happen."""
        for decider in deciders(placed):
            if decider not in self._met:
                self._met[decider] = None
                if is_fact(decider):
                    values = at_first(self._procedure, decider)
                    self._facts = [{**facts, decider: value} for facts in self._facts for value in values]
                else:
                    self._answers.setdefault(decider, NOT_COME_TO)
        if self._met:
            self._facts = [facts for facts in self._facts if self._can(placed, outcome, facts)]
        if outcome:
            self._answers[placed.id] = outcome
        return bool(self._facts)

    def _can(self, placed: PlacedGate, outcome: str, facts: dict[str, str]) -> bool:
        known = {**self._answers, **facts}
        return may_leave(placed, outcome, known) if outcome else may_open(placed, known)

    def wider(self, placed: PlacedGate, deciding: tuple[str, ...]) -> tuple[str, ...]:
        """Return the deciders that a search must follow so that it takes no such path; more than there are."""
        here = [one for one in deciders(placed) if one not in deciding]
        more = here or [one for one in self._met if one not in deciding]
        assert more, "a path that was searched with all that decides on it cannot be impossible by that"
        return (*deciding, *more)


__all__ = ["PathDeciders", "answered", "at_first"]
