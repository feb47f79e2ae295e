"""Where the outcomes of a gate lead: the targets that an author wrote, turned into the full ids of gates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from handsfree.documents import Document, Place
from handsfree.gates import Gate
from handsfree.gates.block import GateBlock
from handsfree.gates.kind import KeyPath
from handsfree.gates.outcomes import EXHAUSTED, NOT_ASKED, NOT_DONE
from handsfree.problem import Problem
from handsfree.procedure.file import IncludeGate


@dataclass(frozen=True)
class WrittenTargets:
    """Turns the targets written in one gate into full ids."""

    prefix: str
    ids: list[str]
    exits: Mapping[str, str]
    following: str | None
    document: Document
    number: int

    def place(self, *path: str) -> Place:
        """Return where a key of the gate stands."""
        return self.document.place(("gates", self.number, *path))

    def full(self, target: str, path: KeyPath = ()) -> str:
        """Return the full id of a target written at a key of the gate; Problem when there is none."""
        place = self.document.place(("gates", self.number, *path))
        if target.startswith("exit "):
            name = target.removeprefix("exit ")
            need(name in self.exits, f"there is no exit {name!r}", place, "add it under exits")
            return self.exits[name]
        need(target in self.ids, f"there is no gate {target!r}", place, f"it has: {', '.join(self.ids)}")
        return self.prefix + target

    def then(self, gate: GateBlock | IncludeGate) -> str:
        """Return where the gate leads: its `then`, or the next gate of the file."""
        if gate.then is not None:
            return self.full(gate.then, ("then",))
        need(
            self.following is not None,
            f"the last gate {gate.id!r} leads nowhere",
            self.place(),
            "give it `then`, or end with a finish gate",
        )
        return self.prefix + str(self.following)

    def not_asked(self, gate: GateBlock | IncludeGate) -> str:
        """Return where a gate leads whose `when` does not hold.

        What leads on by its answers or outcomes alone, or ends the visit, has no way that is plainly next.
        """
        if gate.otherwise is not None:
            return self.full(gate.otherwise, ("otherwise",))
        plain = gate.then is not None or not {"answers", "branches"} & set(type(gate).model_fields)
        need(plain, f"{gate.id!r} has `when`, and no way for when it does not hold", self.place("when"),
             "say with `otherwise` where it then leads")  # fmt: skip
        return self.then(gate)

    def not_done(self, gate: GateBlock, *, needs_then: bool = False) -> str | None:
        """Return where "not done" leads; None when it is refused."""
        if isinstance(gate.not_done, str):
            return self.full(gate.not_done, ("not_done",))
        if not gate.not_done:
            return None
        need(
            not needs_then or gate.then is not None,
            "a choice needs `not_done` as a gate or false, or `then`",
            self.place(),
            "say where it leads when it is not done",
        )
        return self.then(gate)


def transitions_of(gate: Gate, target: WrittenTargets) -> dict[str, str]:
    """Return outcome -> full id for every outcome the gate can have."""
    transitions = gate.transitions(target)
    need(
        not (gate.when and gate.effects.end),
        f"{gate.id!r} ends the visit, and what leads to it decides whether it does",
        target.place("when"),
        "write `when` before it",
    )
    if gate.when:
        transitions = {**transitions, NOT_ASKED: target.not_asked(gate)}
    elif gate.effects.follows is None:
        what = f"{gate.id!r} has `otherwise`, and no `when`"
        need(gate.otherwise is None, what, target.place("otherwise"), "add `when`, or remove it")
    if gate.exhausted is None:
        return transitions
    refused = {outcome: to for outcome, to in transitions.items() if outcome == NOT_DONE}
    own = {outcome: to for outcome, to in transitions.items() if outcome != NOT_DONE}
    return {**own, EXHAUSTED: target.full(gate.exhausted, ("exhausted",)), **refused}


def need(condition: object, what: str, place: Place, remedy: str) -> None:
    """Raise Problem at the place unless the condition holds."""
    if not condition:
        raise Problem(place.told(what), where=str(place), remedy=remedy)
