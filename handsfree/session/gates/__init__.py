"""One small class for each kind of gate: how it opens, what an answer does, and what time does."""

from __future__ import annotations

from handsfree.session.draft import GateKind
from handsfree.session.gates.adjust import AdjustGates
from handsfree.session.gates.ends import FinishGates, StopGates
from handsfree.session.gates.questions import ChoiceGates, ConfirmGates
from handsfree.session.gates.readings import ReadingsGates
from handsfree.session.gates.restore import RestoreGates
from handsfree.session.gates.timed import TimedGates
from handsfree.session.gates.verdict import VerdictGates

KINDS: dict[str, GateKind] = {
    "confirm": ConfirmGates(),
    "choice": ChoiceGates(),
    "readings": ReadingsGates(),
    "timed": TimedGates(),
    "verdict": VerdictGates(),
    "adjust": AdjustGates(),
    "restore": RestoreGates(),
    "stop": StopGates(),
    "finish": FinishGates(),
}
