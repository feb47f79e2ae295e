"""One step of an adjuster: advice from the maker's data and the moves so far, then the turn as made."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import ClassVar, Literal

from handsfree.blocks import Name, Names, Target
from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.gates.block import GateBlock, Rate
from handsfree.gates.kind import Drawing, Effects, GateKind, Targets, own_or_not_done
from handsfree.gates.outcomes import DONE, NO_ADVICE
from handsfree.gates.visit import Turning, Understanding, Visit
from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Meaning
from handsfree.questions import Question
from handsfree.questions.grammar import grammar
from handsfree.questions.kind import Scope
from handsfree.questions.turn import Turn


class AdjustGate(GateBlock):
    """Advice for one turn of an adjuster from the maker's data, and the call of the turn made."""

    usual_work_seconds: ClassVar[int] = 60
    kind: Literal["adjust"]
    rate: Rate
    """Which rate's adjuster is turned."""
    using: Name
    """Where the readings were kept that are out."""
    voids: Names = ()
    """Readings that no longer count once the adjuster has moved."""
    no_advice: Target
    """Where it leads when no advice may be given."""

    @cached_property
    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """It has no answers of its own."""
        return {}

    @cached_property
    def effects(self) -> Effects:
        """It turns an adjuster, so that readings are void."""
        return Effects(turns=Turning(self.rate, self.using, self.voids))

    @property
    def texts(self) -> Mapping[str, str]:
        """Its title."""
        return {"title": self.title}

    def transitions(self, to: Targets) -> dict[str, str]:
        """Return where it leads once turned, without advice, and not done."""
        own = {DONE: to.then(self), NO_ADVICE: to.full(self.no_advice, ("no_advice",))}
        return own_or_not_done(self, to, own)

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return the turn; what may follow its call is asked by the visit."""
        del scope
        return (Turn(),)

    def returned_to(self, state: State) -> bool:
        """Return True: it asks whenever it is entered."""
        del state
        return True

    def open(self, visit: Visit) -> None:
        """Give the advice, or say why there is none; by nothing that was read before a long pause."""
        if visit.read_again(self.using):
            return
        advice = visit.advise(Turning(self.rate, self.using, self.voids))
        visit.emit(
            ev.Advised(
                gate=visit.state.gate,
                adjuster=advice.adjuster,
                direction=advice.direction or "",
                eighths=advice.eighths,
                reason=advice.reason,
            )
        )
        if advice.direction is None:
            visit.say("no-advice", reason=advice.spoken)
            visit.pass_gate(NO_ADVICE)
            return
        text = visit.words(
            "advice",
            adjuster=sentence_case(advice.adjuster),
            direction=visit.words(advice.direction),
            turn=visit.catalogue.far(advice.eighths),
        )
        visit.ask(Turn(direction=advice.direction, eighths=advice.eighths), text)

    def hear(self, visit: Visit, meaning: Meaning, utterance: Understanding) -> bool:
        """Return False: what was turned is told to the visit, which asks for it at other gates too."""
        del visit, meaning, utterance
        return False

    def time_up(self, visit: Visit) -> None:
        """Advise anew."""
        self.open(visit)

    def silence(self, visit: Visit) -> None:
        """Ask again: silence answers nothing here."""
        visit.ask_again()

    def drawing(self) -> Drawing:
        """Return a plain box."""
        return Drawing()

    def told(self, outcome: str, scope: Scope) -> str:
        """Return a turn as it would be called."""
        del outcome
        return f'"{grammar(Turn(), scope).examples()[0]}"'

    def lost(self, was: GateKind) -> Iterator[str]:
        """Yield that it turns on something else."""
        before = was.effects.turns
        if before is not None and (before.rate, before.using) != (self.rate, self.using):
            yield "turns on something else"
