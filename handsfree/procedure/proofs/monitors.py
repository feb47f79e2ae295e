"""What is followed through a visit: each thing, each setting as found, each set of readings, each verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from handsfree.gates.outcomes import DONE, DROPPED_BACK, NOT_DONE
from handsfree.procedure.placed import LimitKey, PlacedGate
from handsfree.procedure.proofs.search import Monitor, ProofFault, generated
from handsfree.questions.ask import Thing
from handsfree.trades.calculation import MISSING, OUTSIDE, TOO_CLOSE, Calculation


def after_thing(placed: PlacedGate, outcome: str, thing: str, altered: bool) -> bool:
    """Return whether the thing is altered after the gate was left: what is done restores first, then alters."""
    effects = placed.gate.effects
    if outcome != DONE:
        return altered
    return thing in effects.alters or (altered and thing not in effects.restores)


@dataclass(frozen=True)
class ThingMonitor(Monitor):
    """Whether one thing is altered: what gates need of it, and that it is restored before the finish."""

    name: str
    thing: Thing
    start: Any = False

    def leave(self, placed: PlacedGate, outcome: str, state: Any) -> Any:
        """Follow the thing."""
        return after_thing(placed, outcome, self.name, bool(state))

    def enter(self, placed: PlacedGate, state: Any) -> tuple[ProofFault, ...]:
        """Hold unmet needs, and a finish with the thing altered, against the procedure."""
        said = f"{self.thing.said} ({self.name})"
        is_now = self.thing.altered if state else self.thing.restored
        wanted = placed.gate.needs.get(self.name)
        if wanted is not None and wanted != is_now:
            what = f"{placed.id} needs {said} {wanted}, but it is {is_now}"
            return (
                ProofFault(
                    "needs", what, "alter or restore it on the way, or lead elsewhere", ("needs", self.name)
                ),
            )
        if placed.gate.effects.end == "finish" and state:
            what = f"the finish is reached with {said} still {is_now}"
            return (ProofFault("restored", what, "restore it on every path to the finish"),)
        return ()

    def opened(self, placed: PlacedGate, state: Any) -> Any:
        """Take an unmet need as met: the visit asks for it."""
        wanted = placed.gate.needs.get(self.name)
        if wanted is not None:
            return wanted == self.thing.altered
        return False if placed.gate.effects.end == "finish" else state


@dataclass(frozen=True)
class CaptureMonitor(Monitor):
    """Whether a thing with a setting was read as found before it was altered: (read, altered)."""

    name: str
    start: Any = (False, False)

    def leave(self, placed: PlacedGate, outcome: str, state: Any) -> Any:
        """Follow the reading and the thing."""
        read, altered = state
        captures = placed.gate.effects.captures == self.name and outcome == DONE
        return read or captures, after_thing(placed, outcome, self.name, altered)

    def enter(self, placed: PlacedGate, state: Any) -> tuple[ProofFault, ...]:
        """Hold a change without the setting as found, and a reading after it, against the procedure."""
        read, altered = state
        effects = placed.gate.effects
        if self.name in effects.alters and not read:
            what = f"{placed.id} alters {self.name} before its setting as found was read"
            return (ProofFault("captured", what, "read it first, in a gate that `captures` it", ("alters",)),)
        if effects.captures == self.name and altered:
            what = f"{placed.id} reads {self.name} as found when it is already altered"
            return (ProofFault("captured", what, "read it before it is altered", ("captures",)),)
        return ()

    def opened(self, placed: PlacedGate, state: Any) -> Any:
        """Tell an unread setting once."""
        read, altered = state
        return read or self.name in placed.gate.effects.alters, altered


NONE, TAKEN, TURN, JUDGED, STALE = "not taken", "taken", "judged out", "judged", "taken before the turn"


@dataclass(frozen=True)
class PointMonitor(Monitor):
    """The readings kept under one name: taken or not, judged how, and whether a screw moved since."""

    name: str
    moved: bool
    """Whether an adjuster moves them."""
    calculations: Mapping[str, Calculation]
    """Those of the procedure's trade."""
    start: Any = NONE

    def leave(self, placed: PlacedGate, outcome: str, state: Any) -> Any:
        """Follow the readings."""
        effects = placed.gate.effects
        if effects.kept_at == self.name:
            return NONE if outcome in {NOT_DONE, DROPPED_BACK} else TAKEN
        if effects.judges and self.name in effects.judges.using.values() and state != NONE:
            calculation = self.calculations.get(effects.judges.calculation)
            return TURN if calculation is not None and outcome in calculation.turns else JUDGED
        if effects.turns and outcome == DONE:
            if self.name == effects.turns.using or self.name in effects.turns.voids:
                return NONE
            return STALE if self.moved and state != NONE else state
        return state

    def enter(self, placed: PlacedGate, state: Any) -> tuple[ProofFault, ...]:
        """Hold stale readings, and advice without a verdict that asks for it, against the procedure."""
        effects = placed.gate.effects
        if effects.judges and self.name in effects.judges.using.values() and state == STALE:
            what = f"{placed.id} judges {self.name}, which was taken before an adjuster was turned"
            return (
                ProofFault("fresh", what, f"let the adjust gate void {self.name}, or take it again", ("using",)),
            )
        if effects.turns and effects.turns.using == self.name and state != TURN:
            what = f"{placed.id} advises a turn on {self.name}, which is {state}, not judged out"
            return (
                ProofFault("advice", what, "lead there only from a verdict that finds them outside", ("using",)),
            )
        return ()

    def opened(self, placed: PlacedGate, state: Any) -> Any:
        """Void what was kept under the name that is taken again."""
        return NONE if placed.gate.effects.kept_at == self.name else state


@dataclass(frozen=True)
class VerdictMonitor(Monitor):
    """How one calculation last judged at one rate."""

    key: LimitKey
    calculation: Calculation
    start: Any = ""

    @property
    def _said(self) -> str:
        calculation, about = self.key
        return f"{calculation} ({about})" if about else calculation

    def leave(self, placed: PlacedGate, outcome: str, state: Any) -> Any:
        """Follow the outcome; missing readings leave a bad one standing, and so does nobody being told of it."""
        if self.key[0] in placed.gate.effects.leaves and outcome == DONE and state in {OUTSIDE, TOO_CLOSE}:
            return ""
        if placed.limit_key != self.key or (outcome == MISSING and state in self.calculation.bad):
            return state
        return outcome

    def enter(self, placed: PlacedGate, state: Any) -> tuple[ProofFault, ...]:
        """Hold an open bad outcome against the finish and against advice."""
        ends = placed.gate.effects.end == "finish"
        if ends and not generated(placed) and state in self.calculation.bad:
            what = f"the finish is reached although {self._said} was left {state}"
            return (ProofFault("resolved", what, "judge again after putting it right, or stop"),)
        if placed.gate.effects.turns:
            if self.calculation.forbids_turns and state in self.calculation.bad:
                what = f"{placed.id} advises a turn although {self._said} was left {state}"
                return (ProofFault("advice", what, "stop there, or judge again first"),)
            if self.calculation.before_turns and state in {"", MISSING}:
                how = "found no readings" if state else "was not carried out"
                what = f"{placed.id} advises a turn although {self._said} {how}"
                return (ProofFault("advice", what, "judge the supply before any screw"),)
        return ()
