"""The machine of gates: which outcome of which gate leads where. The one module that imports `transitions`.

It is built once for a procedure, and whoever needs the transitions of a gate reads them out of it: the visit,
the drawing and the proofs cannot disagree about an edge.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from transitions import Machine, MachineError

from handsfree.gates.outcomes import ENDS

__all__ = ["MachineError", "Moves"]


class _Cursor:
    """The place in the machine; set anew for every move, so that a move depends on nothing before it."""

    state: str


class Moves:
    """The moves that a procedure has."""

    def __init__(self, transitions: Mapping[str, Mapping[str, str]]) -> None:
        """Take gate -> outcome -> target; every target is a gate or an end."""
        first = next(iter(transitions))
        self._machine = Machine(
            model=None, states=[*transitions, *ENDS], initial=first, auto_transitions=False, queued=False
        )
        for gate, outcomes in transitions.items():
            for outcome, to in outcomes.items():
                self._machine.add_transition(outcome, gate, to)
        self._cursor = _Cursor()
        self._machine.add_model(self._cursor, initial=first)
        self._transitions: dict[str, dict[str, str]] = {gate: {} for gate in transitions}
        for outcome, event in self._machine.events.items():
            for source, edges in event.transitions.items():
                self._transitions[source][outcome] = str(edges[0].dest)
        for gate, outcomes in transitions.items():  # in the order in which the gate names them
            self._transitions[gate] = {
                name: self._transitions[gate][name] for name in outcomes if name in self._transitions[gate]
            }

    def transitions(self, gate: str) -> Mapping[str, str]:
        """Return outcome -> target for every transition out of a gate."""
        return self._transitions[gate]

    def move(self, gate: str, outcome: str) -> str:
        """Return where an outcome leads; raise MachineError when the gate has no such transition."""
        if outcome not in self._machine.events:
            raise MachineError(f"no gate has the transition {outcome!r}")
        self._machine.set_state(gate, self._cursor)
        self._cursor.trigger(outcome)  # type: ignore[attr-defined]
        return self._cursor.state

    def known(self, gates: Iterable[str]) -> None:
        """Raise MachineError when one of these is no gate: nobody can go there."""
        for gate in gates:
            if gate not in self._transitions:
                raise MachineError(f"there is no gate {gate!r}")
