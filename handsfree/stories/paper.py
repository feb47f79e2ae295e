"""The paper that a rehearsed visit would leave, as the desk writes it, held against what a story expects of it."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path

from handsfree.ledger import RecordVerdict, VerificationReport
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.stories.file import Story

REHEARSED = "rehearsed: no record was kept"


def missing_on_paper(story: Story, plan: Plan, visit: Rehearsal) -> Iterator[str]:
    """Yield what the paper lacks or holds against what the story says of it."""
    if story.paper is None:
        return
    text = paper_of(plan, visit)
    for wanted in story.paper.says:
        if wanted not in text:
            yield f'the paper does not say "{wanted}"'
    for unwanted in story.paper.never:
        if unwanted in text:
            yield f'the paper says "{unwanted}"'


def paper_of(plan: Plan, visit: Rehearsal) -> str:
    """Return the words of the paper of a rehearsed visit, one space between any two."""
    from handsfree.desk import printed  # noqa: PLC0415 - the extra `desk`, only where a story looks at the paper
    from handsfree.desk.dossier import Dossier  # noqa: PLC0415 - the same
    from handsfree.desk.evidence import Evidence  # noqa: PLC0415 - the same
    from handsfree.desk.record import Recorded, RecordedStep  # noqa: PLC0415 - the same

    at, steps = 0, []
    for number, event in enumerate(visit.events):
        at = int(getattr(event, "at", at))
        steps.append(RecordedStep(number, "2026-01-01T00:00:00.000Z", at, event.kind, event))
    name = plan.procedure.trade.name
    recorded = Recorded(Path(REHEARSED), tuple(steps), plan=plan, trade=name)
    report = VerificationReport(Path(REHEARSED), RecordVerdict.OPEN, REHEARSED, None, (), (), ())
    page = printed.html(Dossier(Evidence(recorded, report), report))
    body = re.sub(r"(?s)<(style|script).*?</\1>", " ", page)
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", body)).split())
