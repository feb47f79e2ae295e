"""Names in a story that are none of its procedure: what they say would otherwise never count."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from handsfree.documents import Path_
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.stories.file import Story, StoryStep
from handsfree.stories.telling import METER_TIME


def unknown_names(story: Story, procedure: Procedure) -> Iterator[tuple[Path_, str]]:
    """Yield each quantity, gate and answer that is not there: where it stands in the story, and what is wrong."""
    told: Sequence[tuple[Path_, Story | StoryStep]] = [
        ((), story),
        *((("steps", number), step) for number, step in enumerate(story.steps)),
    ]
    gates = procedure.gates
    for at, one in told:
        for quantity in one.shows:
            if quantity not in procedure.catalogue.quantities and quantity != METER_TIME:
                yield (*at, "shows", quantity), f"there is no quantity '{quantity}'"
        for gate, answer in one.chooses.items():
            if what := _no_answer(gates, gate, answer):
                yield (*at, "chooses", gate), what
        for number, gate in enumerate(one.undone or ()):
            if gate not in gates:
                yield (*at, "undone", number), f"there is no gate '{gate}'"


def _no_answer(gates: Mapping[str, PlacedGate], gate: str, answer: str) -> str:
    if gate not in gates:
        return f"there is no gate '{gate}'"
    answers = gates[gate].gate.phrases
    if not answers:
        return f"{gate} has no answers to choose from"
    return "" if answer in answers else f"{gate} has no answer '{answer}'; write one of: {', '.join(answers)}"
