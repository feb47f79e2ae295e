"""A calculation of the trade over readings and sheets, which decides where to go; nothing is asked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Literal

from pydantic import Field

from handsfree.blocks import Name, Target
from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.gates.block import Limits, Rate
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets
from handsfree.gates.unasked import UnaskedGate
from handsfree.gates.visit import Judging, Visit
from handsfree.questions.kind import Scope


class VerdictGate(UnaskedGate):
    """A registered calculation over readings and sheets, which branches; nothing is asked."""

    kind: Literal["verdict"]
    calculation: str
    """The calculation's registered name; formulas never stand in a procedure."""
    rate: Rate | None = None
    """The rate it judges, for calculations whose limits depend on the rate."""
    using: dict[Name, Name] = Field(default_factory=dict)
    """Its inputs by name: where the readings were kept."""
    limits: Limits | None = None
    """For a calculation that judges against limits written here."""
    branches: dict[str, Target]
    """Each outcome the calculation can have, and where it leads."""

    @cached_property
    def effects(self) -> Effects:
        """It judges readings."""
        judging = Judging(self.calculation, self.using, self.rate, self.limits)
        return Effects(judges=judging, refusable=False)

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title."""
        return {"title": self.title}

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return where each outcome leads."""
        return {name: to.full(target, ("branches", name)) for name, target in self.branches.items()}

    def returned_to(self, state: State) -> bool:
        """Return False: it asks nothing."""
        del state
        return False

    def open(self, visit: Visit) -> None:
        """Give the verdict and leave by its outcome; on nothing that minutes of a stop made old."""
        if visit.judged_again(self.using.values()):
            return
        judgement = visit.judge(Judging(self.calculation, self.using, self.rate, self.limits))
        visit.emit(
            ev.VerdictGiven(
                at=visit.at,
                gate=visit.state.gate,
                calculation=self.calculation,
                outcome=judgement.outcome,
                demonstrated=judgement.demonstrated,
                rule=judgement.rule,
                numbers=judgement.numbers,
                sources=judgement.sources,
                sentence=judgement.sentence,
            )
        )
        visit.tell(judgement.spoken)
        visit.pass_gate(judgement.outcome)

    def time_up(self, visit: Visit) -> None:
        """Give the verdict."""
        self.open(visit)

    def drawing(self) -> Drawing:
        """Return a hexagon."""
        return Drawing(brackets=("{{", "}}"))

    def told(self, outcome: str, scope: Scope) -> str:
        """Return the calculation and its outcome."""
        del scope
        return f"({self.calculation}: {outcome})"

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield that it judges something else."""
        before = was.effects.judges
        if before is not None and (before.calculation, before.rate, before.using) != (
            self.calculation,
            self.rate,
            self.using,
        ):
            yield "judges something else"
