"""How a visit begins: its first event, the cautions, what was left last time, the first gate."""

from __future__ import annotations

from datetime import date

from handsfree.events import decisions as ev
from handsfree.events.earlier import EarlierVisit
from handsfree.events.inputs import PersonalData
from handsfree.events.record import SCHEMA_VERSION
from handsfree.events.state import State
from handsfree.session.draft import Draft
from handsfree.session.last_time import last_time_words
from handsfree.session.plan import Plan
from handsfree.session.version import DECISION_VERSION, deciding_versions, lock_digest


def opened(
    plan: Plan,
    *,
    program: str,
    day: date,
    sheets_sha256: dict[str, str],
    model_sha256: str | None,
    unproven: tuple[str, ...] = (),
    standing: ev.ProcedureStanding | None = None,
    checkpoint: str = "",
    unheard: bool = False,
    personal: tuple[PersonalData, ...] = (),
    hears: bool = False,
    photos: bool = False,
    earlier: tuple[EarlierVisit, ...] = (),
    enrolled: bool = False,
) -> ev.VisitOpened:
    """Return the first event of a visit: what the plan says of it, and who leads it, when, with which files."""
    sheets, job = plan.sheets, plan.sheets.job
    facts = sheets.own_facts()
    chief, until = next(iter(job.measuring), None), job.calibrated_until
    return ev.VisitOpened(
        at=0,
        schema_version=SCHEMA_VERSION,
        decision_version=DECISION_VERSION,
        versions=deciding_versions(),
        lock_sha256=lock_digest(),
        program=program,
        procedure=plan.procedure.name,
        procedure_sha256=plan.procedure.version(),
        sheets_sha256=sheets_sha256,
        model_sha256=model_sha256,
        day=day.isoformat(),
        job=job.job,
        site=job.site,
        technician=job.technician.name,
        licence=job.technician.licence,
        appliance=sheets.appliance.appliance,
        serial=job.serial,
        trade=plan.procedure.trade.name,
        facts=facts,
        instrument=None if chief is None else chief.name,
        instrument_serial=None if chief is None else chief.serial,
        calibrated_until=None if until is None else until.isoformat(),
        sound=job.sound if hears else "",
        photos=photos and job.photos == "wanted",
        earlier=earlier,
        personal=personal,
        unproven=unproven,
        standing=standing,
        checkpoint=checkpoint,
        language=plan.catalogue.language,
        unheard=unheard,
        enrolled=enrolled,
    )


def opening(plan: Plan, first: ev.VisitOpened) -> tuple[ev.Decision, ...]:
    """Return the events that begin a visit: opened, cautions said, the first gate entered."""
    draft = Draft(plan, State())
    draft.emit(first)
    if first.standing is not None and first.standing.status == "draft":
        draft.say("led-by-draft")
    if first.unproven:
        draft.say("unproven")
    if first.unheard:
        draft.say("no-ears")
    for caution in plan.procedure.file.cautions:
        draft.tell(plan.fill(caution))
    if first.sound in {"kept", "not kept"}:
        draft.say("sound-kept" if first.sound == "kept" else "sound-not-kept")
    for text in last_time_words(plan, first):
        draft.tell(text)
    draft.enter(plan.procedure.first)
    return tuple(draft.events)
