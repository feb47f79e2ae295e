"""What the desk says of a combustion visit is what it said before the checklist and the report went to the trade.

`golden/combustion.json` was written by the desk that still had them in Python (commit 7528638), of the same visit.
Since then the verdicts tell an expanded uncertainty and whether a later one stands, the table what was altered
while it was read, nothing is judged as left by a visit that was stopped, and the facts tell of the maker's data.
"""

import json
from pathlib import Path

import pytest

from handsfree.desk import chart
from handsfree.desk.dossier import open_dossier
from handsfree.desk.examination import readings
from handsfree.desk.paper import paper_of

GOLDEN = json.loads((Path(__file__).parent / "golden" / "combustion.json").read_text("utf-8"))
WRITTEN = "2026-11-28"
"""The day that the golden file tells."""


@pytest.fixture(scope="module")
def whole(recorded):
    return open_dossier(recorded / "whole", alike=[])


def plain(value, dossier):
    """As JSON gives it back, as of the day on which the file was written: a visit is recorded today."""
    day = dossier.evidence.recorded.opened.day
    return json.loads(json.dumps(value).replace(day, WRITTEN))


def checklist(dossier, *, why=True):
    return [
        [
            line.line,
            [[item.says, item.finding.result.value, *([item.finding.why] if why else [])] for item in line.items],
        ]
        for line in dossier.judged
    ]


def test_every_line_of_the_checklist_is_judged_as_before_and_for_the_same_reason(whole):
    """All but the sentence of the seal, which is another with each recording."""
    told = checklist(whole)
    told[-1][1][-1][2] = "(sealed)"
    assert plain(told, whole) == GOLDEN["checklist"]


def test_a_stopped_visit_is_judged_as_before(recorded):
    """Result by result."""
    stopped = open_dossier(recorded / "stopped", alike=[])
    assert checklist(stopped, why=False) == GOLDEN["checklist_of_the_stopped"]


def test_the_customer_reads_what_was_read_before(whole):
    """Facts, tables, cautions and lines to sign on."""
    report = paper_of(whole)
    told = {
        "facts": report.facts, "found_and_left": report.measured,
        "verdicts": report.verdicts, "others": report.others,
        "cautions": report.cautions, "signatures": report.signatures,
    }  # fmt: skip
    assert plain(told, whole) == {name: GOLDEN[name] for name in told}


def test_outcome_and_what_to_look_at_first_are_as_before(whole):
    """The same sentences in the same order."""
    assert whole.sentence == GOLDEN["outcome"]
    assert [[each.kind, each.says] for each in whole.notables] == GOLDEN["notables"]


def test_the_chart_has_the_same_points_and_bands(whole):
    """Place by place."""
    drawn = chart.draw(whole.evidence)
    told = [
        [
            plot.label,
            plot.height,
            [[point.x, point.y, point.says] for point in plot.points],
            [[bar.kind, bar.x, bar.y, bar.says] for bar in plot.bars],
        ]
        for plot in drawn.plots
    ]
    assert plain(told, whole) == GOLDEN["plots"]
    assert plain(chart.phases(whole.evidence), whole) == GOLDEN["phases"]


def test_the_index_keeps_the_same_readings(whole):
    """Those that questions across visits are asked of, the residual of each pair among them."""
    assert readings(whole.evidence) == GOLDEN["readings"]
