"""The warning notice of a visit that was left off: what was found and reported, and who was told.

The states are those that the technician reported. The notice permits nothing and guesses no cause; its class by
local rules is the technician's choice, in the technician's own words.
"""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.desk import facts
from handsfree.desk.ending import why_stopped
from handsfree.desk.evidence import Evidence
from handsfree.events import decisions as ev
from handsfree.lexicon.catalogue import Catalogue, sentence_case


@dataclass(frozen=True)
class Notice:
    """The notice's parts in the order they stand."""

    title: str
    facts: list[tuple[str, str]]
    finding: list[str]
    """What stopped the work, with value and limit where there was one, the order, and what was noted."""
    reported: list[tuple[str, str]]
    """What was asked and what was reported."""
    left: list[str]
    """What is still altered."""
    do_not_use: str
    number: str
    foot: str


def notice_of(evidence: Evidence) -> Notice | None:
    """Return the notice; None for a visit that was not stopped, or went on and finished."""
    recorded, form = evidence.recorded, evidence.forms.report
    stops = recorded.all(ev.Stopped)
    if not stops or evidence.finished:
        return None
    opened = recorded.opened
    return Notice(
        title=form.notice.title,
        facts=facts.facts(evidence),
        finding=[*(_found(evidence, stop) for _, stop in stops[-1:]), *facts.advice(evidence)],
        reported=_reported(evidence),
        left=[f"{span.said} {span.state}" for span in evidence.alterations if span.until is None],
        do_not_use=facts.kept_off(evidence, form.notice.do_not_use),
        number=facts.filled(evidence, form.notice.number) or form.notice.otherwise,
        foot=f"{opened.job}, {opened.appliance} {opened.serial}, {opened.day}",
    )


def _found(evidence: Evidence, stop: ev.Stopped) -> str:
    return f"{sentence_case(why_stopped(evidence.recorded, stop))}. The order given: {stop.script}"


def _reported(evidence: Evidence) -> list[tuple[str, str]]:
    """Return what was reported since the last stop, in the words that were asked and answered."""
    recorded, told = evidence.recorded, []
    words = recorded.plan.catalogue if recorded.plan is not None else None
    last = max(step.seq for step, _ in recorded.all(ev.Stopped))
    for step in recorded.steps:
        if step.seq > last and isinstance(step.event, ev.StepReported):
            told.append((_asked(evidence, words, step.event), _answered(evidence, words, step.event)))
        elif step.seq > last and isinstance(step.event, ev.StepTakenBack) and told:
            told.pop()
    return told


def _asked(evidence: Evidence, words: Catalogue | None, report: ev.StepReported) -> str:
    plan = evidence.recorded.plan
    if report.thing is not None and plan is not None and report.thing in plan.things:
        return sentence_case(plan.things[report.thing].said)
    known = None if words is None else words.steps.get(report.step)
    return sentence_case(report.step) if known is None else known.prompt.split(":")[0].rstrip("?.")


def _answered(evidence: Evidence, words: Catalogue | None, report: ev.StepReported) -> str:
    plan = evidence.recorded.plan
    if report.text or report.sound:
        return report.text or "kept as sound"
    if words is None or plan is None:
        return report.answer
    if report.thing is not None and report.answer in {"altered", "restored"}:
        thing = plan.things[report.thing]
        return thing.restored if report.answer == "restored" else thing.altered
    known = words.steps.get(report.step)
    phrases = (known.answers if known else {}).get(report.answer) or words.answers.get(report.answer)
    return phrases[0] if phrases else report.answer
