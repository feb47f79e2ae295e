"""A way that depends on the job: on a fact of a sheet, or on how an earlier gate was passed; nothing is asked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Annotated, Literal

from pydantic import Field, model_validator

from handsfree.blocks import Name, Target
from handsfree.events.state import State
from handsfree.gates.kind import Drawing, Effects, Follows, GateKind, Targets
from handsfree.gates.unasked import UnaskedGate
from handsfree.gates.visit import Visit
from handsfree.questions.kind import Scope

OTHERWISE = "otherwise"
"""The outcome when the sheet does not give the fact, or the earlier gate was not passed by any of those named."""

ChoiceFact = Annotated[str, Field(pattern=r"^(job|appliance)\.[a-z][a-z0-9]*(_[a-z0-9]+)*$", max_length=80)]
"""A fact of a sheet that has choices: `job.NAME` or `appliance.NAME`."""


class BranchGate(UnaskedGate):
    """A way that depends on a fact of a sheet, or on how an earlier gate was passed; nothing is asked."""

    kind: Literal["branch"]
    fact: ChoiceFact | None = None
    """A fact of a sheet that is one of several choices."""
    answer: Name | None = None
    """An earlier gate of this file: how it was passed last decides."""
    branches: dict[str, Target] = Field(min_length=1)
    """Choices of the fact, or outcomes of the gate, and where each leads."""
    otherwise: Target
    """Where it leads when none of them holds: the fact is not given, the gate was not passed, or `when` fails."""

    @model_validator(mode="after")
    def _on_one(self) -> BranchGate:
        if (self.fact is None) == (self.answer is None):
            raise ValueError("a branch needs `fact` or `answer`, and not both")
        if OTHERWISE in self.branches:
            raise ValueError("`otherwise` is a key of the gate, and no branch")
        return self

    @cached_property
    def effects(self) -> Effects:
        """It changes nothing, and follows what is known."""
        return Effects(follows=Follows(self.fact, self.answer, tuple(self.branches)), refusable=False)

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title."""
        return {"title": self.title}

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return where each branch leads, and where it leads otherwise."""
        branches = {name: to.full(target, ("branches", name)) for name, target in self.branches.items()}
        return {**branches, OTHERWISE: to.full(self.otherwise, ("otherwise",))}

    def returned_to(self, state: State) -> bool:
        """Return False: it asks nothing."""
        del state
        return False

    def open(self, visit: Visit) -> None:
        """Leave by what is known."""
        known = visit.known(self.fact or self.answer or "")
        visit.pass_gate(known if known in self.branches else OTHERWISE)

    def time_up(self, visit: Visit) -> None:
        """Leave by what is known."""
        self.open(visit)

    def drawing(self) -> Drawing:
        """Return a hexagon with what decides."""
        return Drawing(f"by {self.fact or self.answer}", ("{{", "}}"))

    def told(self, outcome: str, scope: Scope) -> str:
        """Return what decides and how."""
        del scope
        return f"({self.fact or self.answer}: {outcome})"

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield that something else decides."""
        if was.effects.follows is not None and was.effects.follows != self.effects.follows:
            yield "branches on something else"
