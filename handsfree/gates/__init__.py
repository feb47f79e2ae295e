"""The gates of a procedure: one module for each kind, and this union, which is their only list."""

from __future__ import annotations

from typing import get_args

from handsfree.gates.adjust import AdjustGate
from handsfree.gates.branch import BranchGate
from handsfree.gates.choice import ChoiceGate
from handsfree.gates.confirm import ConfirmGate
from handsfree.gates.entry import EntryGate
from handsfree.gates.finish import FinishGate
from handsfree.gates.kind import GateKind
from handsfree.gates.readings import ReadingsGate
from handsfree.gates.restore import RestoreGate
from handsfree.gates.stop import StopGate
from handsfree.gates.timed import TimedGate
from handsfree.gates.verdict import VerdictGate
from handsfree.gates.wait import WaitGate

WrittenGate = (
    ConfirmGate
    | ChoiceGate
    | ReadingsGate
    | TimedGate
    | WaitGate
    | VerdictGate
    | BranchGate
    | AdjustGate
    | RestoreGate
    | StopGate
    | FinishGate
)
"""Every kind of gate that an author writes."""

Gate = WrittenGate | EntryGate
"""Every kind of gate: the language itself puts the entry of a part before it."""

GATE_KINDS: tuple[type[WrittenGate], ...] = get_args(WrittenGate)


def as_kind(gate: Gate) -> GateKind:
    """Return the gate by the members that every kind has; a kind that lacks one does not type-check here."""
    return gate
