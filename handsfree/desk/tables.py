"""The table of what was found and what was left, as the trade's report asks; page, print and terminal share it."""

from __future__ import annotations

from handsfree.desk import wording
from handsfree.desk.ending import EndKind
from handsfree.desk.evidence import Evidence, value_given
from handsfree.desk.measured import FoundAndLeft, Group

Row = list[str]
NONE = "\N{EN DASH}"


_UNFINISHED: dict[EndKind, str] = {
    "left-off": "Read before the work stopped; no value here is a final one",
    "stopped": "Read before the work stopped; no value here is a final one",
    "open": "Read so far; no value here is a final one",
    "damaged": "Read as far as the record can be followed; no value here is a final one",
}


def heading(evidence: Evidence) -> str:
    """Return the table's heading: the trade's, or that the values of a visit without an end are not final."""
    return _UNFINISHED.get(evidence.ending.kind, evidence.forms.report.headings.measured)


def found_and_left(evidence: Evidence, *, fully: bool = False) -> list[Row]:
    """Return the table with its headings as first row; `fully` adds the bands, the sets and their times.

    Of a visit that did not come to its end it tells what was read first and last: nothing was left by it.
    """
    form, pairs = evidence.forms.report.measured, evidence.pairs
    if not any(pair.found or pair.last for pair in pairs):
        return [[""]]
    ended = evidence.finished
    groups = [group for pair in pairs for group in (pair.found, pair.left if ended else pair.last)]
    when = ("found", "left") if ended else ("read first", "read last")
    rows = [["", *(pair.headed(each) for pair in pairs for each in when)]]
    rows += [[wording.quantity(name), *(_value(group, name) for group in groups)] for name in form.quantities]
    rows += [
        [each.says, *(_computed(group, each.calculation, each.unit) for group in groups)] for each in form.computed
    ]
    if form.judged_by:
        rows.append(["Judged", *(_judged(group, form.judged_by) for group in groups)])
    rows.append(["While read", *(_altered(evidence, group) for group in groups)])
    if fully:
        rows.append(["Band", *(_band(group, form.judged_by) for group in groups)])
        rows.append(["Sets, taken", *(_taken(group) for group in groups)])
    if all(cell == NONE for cell in rows[-1 if not fully else -3][1:]):
        del rows[-1 if not fully else -3]
    return _turned(rows, pairs, when) if form.layout == "rows" else rows


def _altered(evidence: Evidence, group: Group | None) -> str:
    """Return what was altered when a group was read, but for what its step needs so."""
    if group is None:
        return NONE
    recorded = evidence.recorded
    needs = recorded.needs_of(group.readings[0].event.gate)
    spans = [
        span
        for span in evidence.alterations
        if span.began <= group.ended
        and (span.until is None or group.ended < span.until)
        and needs.get(span.thing) != recorded.thing_state(span.thing, altered=True)
    ]
    return "; ".join(f"{span.said} {span.state}" for span in spans) or NONE


def _turned(rows: list[Row], pairs: tuple[FoundAndLeft, ...], when: tuple[str, str]) -> list[Row]:
    """Return the table with a row for each found and left; a point measured once has one row."""
    turned = [list(cells) for cells in zip(*rows, strict=True)]
    body = []
    for number, pair in enumerate(pairs):
        found, left = turned[1 + 2 * number : 3 + 2 * number]
        once = pair.found is not None and pair.found in (pair.left, pair.last)
        body += [[pair.headed(" and ".join(when)), *found[1:]]] if once else [found, left]
    return [turned[0], *body]


def _value(group: Group | None, name: str) -> str:
    return wording.value(group.values[name].reading) if group and name in group.values else NONE


def _computed(group: Group | None, calculation: str, unit: str) -> str:
    verdict = group.verdicts.get(calculation) if group else None
    value = value_given(verdict) if verdict else None
    return NONE if value is None else f"{value} {wording.unit(unit)}".strip()


def _judged(group: Group | None, calculations: tuple[str, ...]) -> str:
    """Return the gravest of the verdicts that judge a group."""
    given = [group.verdicts[name] for name in calculations if name in group.verdicts] if group else []
    if not given:
        return NONE
    gravest = max(given, key=lambda each: (wording.is_bad(each.outcome), each.outcome != "within"))
    return wording.outcome(gravest.outcome, demonstrated=gravest.demonstrated)


def _band(group: Group | None, calculations: tuple[str, ...]) -> str:
    verdict = group.verdict(calculations) if group else None
    return verdict.numbers.get("band", NONE) if verdict else NONE


def _taken(group: Group | None) -> str:
    return f"{group.sets}, {wording.clock(group.began)}{NONE}{wording.clock(group.ended)}" if group else NONE
