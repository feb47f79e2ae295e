"""What goes along with the visit: the answers that need no judgement, for whoever plays a technician."""

from __future__ import annotations

from decimal import Decimal

from handsfree.procedure.model import ConfirmGate
from handsfree.session import events as ev
from handsfree.session.plan import Plan
from handsfree.session.state import State


def agreeing(plan: Plan, state: State, advised: ev.Advised | None) -> str:  # noqa: PLR0911 - one for each question
    """Return the words that do, confirm or turn what the question at hand asks for, by the last advice."""
    question, gate, words = state.question, plan.gate(state.gate).gate, plan.catalogue
    match question.kind:
        case "gate" if isinstance(gate, ConfirmGate):
            return gate.done[0]
        case "restore":
            thing = plan.things[question.about]
            if thing.value is None:
                return thing.restored
            return plan.numbers.digits(Decimal(state.found[question.about].value))
        case "thing-first":
            return gate.needs[question.about]
        case "recheck-thing":
            return plan.things[question.about].altered
        case "recheck-burner":
            return words.answers["firing"][0]
        case "turn":
            assert advised is not None
            return f"{words.answers[advised.direction][0]} {words.turns[advised.eighths][0]}"
        case "mark-first" | "mark-last":
            return words.answers["mark"][0]
        case _:
            return words.answers["affirm"][0]
