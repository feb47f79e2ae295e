"""A failed proof told as a visit: the gates, the words spoken, and what was altered at each."""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.gates.outcomes import DROPPED_BACK, EXHAUSTED, NO_ADVICE, NOT_ASKED, NOT_DONE, UNSETTLED
from handsfree.lexicon.catalogue import Catalogue
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.procedure.proofs.finding import Beat
from handsfree.procedure.proofs.monitors import after_thing
from handsfree.procedure.proofs.search import Transition


def told(
    procedure: Procedure, catalogue: Catalogue, transitions: Sequence[Transition], last: str
) -> tuple[Beat, ...]:
    """Return the transitions as beats of a story that ends at the gate `last`."""
    altered: list[str] = []
    beats = []
    for gate_id, outcome in transitions:
        placed = procedure.gates[gate_id]
        for name in procedure.things:
            now = after_thing(placed, outcome, name, name in altered)
            if now and name not in altered:
                altered.append(name)
            elif not now and name in altered:
                altered.remove(name)
        beats.append(Beat(gate_id, spoken(procedure, catalogue, placed, outcome), tuple(altered)))
    beats.append(Beat(last, "here", tuple(altered)))
    return tuple(beats)


_SILENT = {UNSETTLED: "(not settled)", NO_ADVICE: "(no turn advised)"}


def spoken(procedure: Procedure, catalogue: Catalogue, placed: PlacedGate, outcome: str) -> str:
    """Return the words that lead out of the gate by the outcome; in brackets what happens without words."""
    known = {
        **_SILENT,
        NOT_ASKED: f"(not asked: {told_conditions(placed)})",
        NOT_DONE: f'"{catalogue.everywhere["not-done"][0]} ..."',
        EXHAUSTED: f"(entered {(placed.gate.at_most or 0) + 1} times, bound reached)",
        DROPPED_BACK: f'"{catalogue.answers["dropped-back"][0]}"',
    }
    if outcome in known:
        return known[outcome]
    return placed.gate.told(outcome, procedure.scope(placed.id, catalogue))


def told_conditions(placed: PlacedGate) -> str:
    """Return the conditions of a gate, one of which does not hold."""
    return ", ".join(f"{decider} other than {' or '.join(values)}" for decider, values in placed.gate.when.items())


def told_shortly(beats: Sequence[Beat], around: int = 3) -> list[str]:
    """Return a story as lines; a straight run in which nothing is altered is drawn together."""
    lines: list[str] = []
    changed = [i == 0 or beat.altered != beats[i - 1].altered for i, beat in enumerate(beats)]
    skipped = 0
    for i, beat in enumerate(beats):
        near = i < 1 or i >= len(beats) - around or changed[i] or beat.said.startswith("(entered")
        if not near and _plain(beat):
            skipped += 1
            continue
        if skipped:
            lines.append(f"... {skipped} gate{'' if skipped == 1 else 's'} passed ...")
            skipped = 0
        now = f"   [altered: {', '.join(beat.altered)}]" if beat.altered and changed[i] else ""
        lines.append(f"{beat.gate}: {beat.said}{now}")
    return lines


def _plain(beat: Beat) -> bool:
    usual = ("within)", "missing)")
    told = ("(not settled", '"not done', "(entered", "(")
    return beat.said.endswith(usual) or not beat.said.startswith(told)
