"""What a record carried in from earlier visits, remarked on beside what was checked of it."""

from __future__ import annotations

from dataclasses import replace

from pydantic import ValidationError

from handsfree.events.decisions import VisitOpened
from handsfree.ledger import VerificationReport, read
from handsfree.visit.recorder import EntryReader


def with_carried_in(report: VerificationReport) -> VerificationReport:
    """Return a report on a record that holds, with a remark on each earlier visit that was carried into it.

    The earlier records themselves are not at hand: they are as they were read when this visit began.
    """
    first = next(iter(read(report.folder)), None)
    try:
        opened = None if first is None else EntryReader(report.folder).event(first)
    except ValidationError:
        return report  # no visit of ours
    earlier = opened.earlier if isinstance(opened, VisitOpened) else ()
    remarks = (f"carried in from {one.source}: as it was then read, not checked here" for one in earlier)
    return replace(report, remarks=(*report.remarks, *remarks))
