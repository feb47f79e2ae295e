"""The facts of a visit that its trade has printed, filled in from the opening and the sheets."""

from __future__ import annotations

import string
from collections.abc import Iterable, Iterator

from handsfree.desk import wording
from handsfree.desk.carried_in import carried_in
from handsfree.desk.evidence import Evidence, at
from handsfree.desk.lines import turn_told
from handsfree.desk.makers_data import second_check
from handsfree.desk.photos import photo_facts
from handsfree.desk.signatures import drawn_signatures
from handsfree.desk.witness import witness_facts
from handsfree.events import decisions as ev
from handsfree.lexicon.catalogue import sentence_case

_BLANKS = string.Formatter()


def kept_off(evidence: Evidence, do_not_use: str = "") -> str:
    """Return what must stay as it is after a stop: who was sent out stays out, before all else.

    `do_not_use` stands in the place of the report's own `until`. Once steps back in were begun, somebody has
    reported who let them in, and only the rest is said.
    """
    recorded, form = evidence.recorded, evidence.forms.report
    rest = do_not_use or form.until
    stops = recorded.all(ev.Stopped)
    if not stops or stops[-1][1].people != "leave":
        return rest
    back_in = any(
        step.seq > stops[-1][0].seq and begun.part == "re-entry" for step, begun in recorded.all(ev.StepsBegun)
    )
    return rest if back_in else f"{form.stay_out} {rest}"


def facts(evidence: Evidence, *, earlier: bool = True, witness: bool = True) -> list[tuple[str, str]]:
    """Return each fact's name and text; one that has nothing to say is left out.

    `earlier` says whether what was carried in from earlier visits is among them, since papers tell it apart;
    `witness` the same of what an instrument showed. Before all stands what must not be overlooked: that nobody
    approved the procedure, or it is not proven.
    """
    opened = evidence.recorded.opened
    unproven = ", ".join(opened.unproven)
    first = [("Procedure", wording.standing_told(opened.standing))] if opened.standing else []
    first += [("Procedure", f"NOT PROVEN; these proofs fail: {unproven}")] if unproven else []
    told = [(fact.says, filled(evidence, fact.text) or fact.otherwise) for fact in evidence.forms.report.facts]
    told.append(("Maker's data checked", second_check(evidence)))
    signed = [("Signature", f"{sentence_case(one.whose)}: {one.says}") for one in drawn_signatures(evidence)]
    return [
        *first,
        *((says, text) for says, text in told if text),
        *(carried_in(evidence) if earlier else ()),
        *_answered_by(evidence),
        *photo_facts(evidence),
        *(witness_facts(evidence) if witness else ()),
        *signed,
    ]


def advice(evidence: Evidence) -> list[str]:
    """Return what was found, advised and fitted: each question with its answer and what was told with it."""
    title = evidence.recorded.gate_title
    return [
        f"{title(one.gate)}: {one.answer}, {one.text or 'told by voice, kept as sound'}" for one in evidence.noted
    ]


def turned(evidence: Evidence) -> list[str]:
    """Return each turn of an adjuster that counts, in order."""
    return [
        turn_told(turn.rate, turn.direction, turn.eighths, undoes=turn.undoes)
        for _, turn in evidence.turns
        if turn.eighths
    ]


def _answered_by(evidence: Evidence) -> Iterator[tuple[str, str]]:
    """Yield who answered beside the technician, and where: a second person by name, and the customer."""
    found: dict[tuple[str, str], dict[str, None]] = {}
    for _, answered in evidence.recorded.all(ev.AnsweredBy):
        title = evidence.recorded.gate_title(answered.gate)
        found.setdefault((answered.role, answered.name), {})[title] = None
    for (role, name), titles in found.items():
        yield sentence_case(role), f"{f'{name}: ' if name else ''}{', '.join(titles)}"


def lines(evidence: Evidence, texts: Iterable[str]) -> list[str]:
    """Return the texts with their blanks filled in; one with a blank that has no value is left out."""
    return [text for each in texts if (text := filled(evidence, each))]


def filled(evidence: Evidence, text: str) -> str:
    """Return a text with its blanks filled in; empty when one of them has no value."""
    parts = []
    for words, name, _, _ in _BLANKS.parse(text):
        parts.append(words)
        if name is not None:
            value = _value(evidence, name)
            if not value:
                return ""
            parts.append(value)
    return "".join(parts)


def _value(evidence: Evidence, path: str) -> str:
    if path.startswith("opened."):
        return str(at(evidence.recorded.opened, path.removeprefix("opened.")) or "")
    return str(evidence.sheet(path) or "")
