"""The end of a visit in plain sentences, the same on the paper, on the page and in the list."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from handsfree.desk import wording
from handsfree.desk.ending import StopTold, VisitEnd
from handsfree.desk.evidence import Evidence

_NOT_SHOWN = {
    "missing": "Not judged, since a reading is missing",
    "no-limit": "No limit loaded",
    "too-close": "Too close to a limit to call",
}


def end_sentence(evidence: Evidence) -> str:
    """Return how the visit ended, in a sentence."""
    ending = evidence.ending
    where = f"at the step “{ending.last_gate}”"
    why = ending.in_force[-1].why if ending.in_force else "the reason is not on record"
    match ending.kind:
        case "finished":
            return f"The work was finished on {evidence.recorded.opened.day}."
        case "incomplete":
            return "The visit came to its end without all that it was for."
        case "left-off":
            return (
                f"The work was stopped {where} and did not go on: {why}. The technician reported each thing asked "
                "about as it should be left."
            )
        case "stopped":
            return (
                f"The work was stopped {where} and did not go on: {why}. Something was left open, or nobody could "
                "say how it stands."
            )
        case "open":
            stopped = f" The work is stopped: {why}." if ending.in_force else ""
            return f"The visit is not closed: it is going on, or was interrupted {where}.{stopped}"
        case "damaged":
            last = wording.clock(evidence.recorded.steps[-1].at)
            return f"The record is damaged and can be read up to {last} only: nothing can be concluded from it."


def judged_sentence(evidence: Evidence) -> str:
    """Return what the verdicts come to that stand at the end."""
    standing = evidence.standing_verdicts
    if not standing:
        return "Nothing was judged against a limit."
    outside = [evidence.recorded.gate_title(each.gate) for _, each in standing if wording.is_bad(each.outcome)]
    if outside:
        return f"Outside its limits at the end: {wording.listed(outside)}."
    if all(each.outcome == "within" for _, each in standing):
        return "Everything judged at the end was within the limits used."
    compared = any(each.outcome in {"within", "too-close"} for _, each in standing)
    told = [
        "Nothing judged at the end was outside its limits." if compared else "Nothing was judged against a limit."
    ]
    for outcome, words in _NOT_SHOWN.items():
        if titles := [evidence.recorded.gate_title(each.gate) for _, each in standing if each.outcome == outcome]:
            told.append(f"{words}: {wording.listed(titles)}.")
    return " ".join(told)


def lacking(ending: VisitEnd) -> str:
    """Return what the visit was for and did not show; each with its reason, unless the end is the reason."""
    plain = () if ending.came_to_its_end else ("not done",)
    return "; ".join(one.what if one.why in plain else f"{one.what} ({one.why})" for one in ending.lacking)


def left_out(ending: VisitEnd) -> str:
    """Return how many steps were left out."""
    count = len(ending.left_out)
    return f"{'One step was' if count == 1 else f'{count} steps were'} left out; the reasons stand below."


def stop_lines(stops: Sequence[StopTold]) -> list[str]:
    """Return each stop and what came after it; those that came again and again in the same way are one line."""
    return [_stop_line(list(alike)) for _, alike in groupby(stops, _alike)]


def _alike(stop: StopTold) -> tuple[str, str, str]:
    return stop.gate, stop.why, stop.resumed


def _stop_line(alike: Sequence[StopTold]) -> str:
    first, last = alike[0], alike[-1]
    went = f"The work went on: {first.resumed}" if first.resumed else "The work did not go on"
    when = wording.clock(first.at)
    if len(alike) > 1:
        when += f" to {wording.clock(last.at)}, {len(alike)} times"
    return f"{when}, at “{first.gate}”: {first.why}. {went}."


TOLD_BACK = 3
"""Stops that were taken back and are told on page one in words; a visit in a noisy room has dozens."""


def taken_back(ending: VisitEnd) -> list[str]:
    """Return each stop after which the work went on because a person said that it was none."""
    each = [list(alike) for _, alike in groupby((one for one in ending.stops if one.taken_back), _alike)]
    told = [
        f"The work was stopped {'' if len(alike) == 1 else f'{len(alike)} times '}at the step “{alike[0].gate}”: "
        f"{alike[0].why}. It went on, since {alike[0].resumed}."
        for alike in each[:TOLD_BACK]
    ]
    more = sum(map(len, each[TOLD_BACK:]))
    return [*told, f"Stops taken back in the same way, beyond these: {more}."] if more else told


def not_done(ending: VisitEnd) -> list[str]:
    """Return the steps left out or not asked and the readings without a value, each with its reason."""
    told = [f"{one.title}: {one.reason}" for one in ending.left_out]
    told += [f"{one.title}: not asked, since {one.reason}" for one in ending.not_asked]
    return [*told, *ending.without_value]


def not_reached(ending: VisitEnd) -> list[str]:
    """Return what a visit that did not come to its end never came to."""
    if ending.came_to_its_end:
        return []
    told = []
    if ending.never_read:
        told.append(f"Never read: {'; '.join(ending.never_read)}.")
    if count := len(ending.never_reached):
        told.append(f"Steps that still lay ahead, some of them asked only when needed: {count}.")
    return told


def put_back(evidence: Evidence) -> str:
    """Return what stands altered, or that nothing does, as far as the record shows."""
    left = evidence.ending.left
    if left:
        return "Not put back: " + wording.listed([f"{span.said} ({span.state})" for span in left]) + "."
    count = len(evidence.alterations)
    if not count:
        return "Nothing was changed for the work."
    settings = [f"{span.said} {span.left}" for span in evidence.alterations if span.left]
    with_values = f"; settings: {wording.listed(settings)}" if settings else ""
    return f"Everything changed for the work was reported put back ({count}){with_values}."
