"""How a gate can be left, beside the answers of a choice and the branches of a verdict; how a visit ends."""

from __future__ import annotations

DONE = "done"
NOT_DONE = "not done"
EXHAUSTED = "exhausted"
NOT_ASKED = "not asked"
UNSETTLED = "unsettled"
DROPPED_BACK = "dropped back"
NO_ADVICE = "no advice"
DIFFERENT = "different"

STOPPED = "stopped"
FINISHED = "finished"
ENDS = (STOPPED, FINISHED)
