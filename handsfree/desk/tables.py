"""The table of what was found and what was left, as the trade's report asks; page, print and terminal share it."""

from __future__ import annotations

from handsfree.desk import wording
from handsfree.desk.evidence import Evidence, value_given
from handsfree.desk.measured import FoundAndLeft, Group

Row = list[str]
NONE = "\N{EN DASH}"


def found_and_left(evidence: Evidence, *, fully: bool = False) -> list[Row]:
    """Return the table with its headings as first row; `fully` adds the bands, the sets and their times."""
    form, pairs = evidence.forms.report.measured, evidence.pairs
    groups = [group for pair in pairs for group in (pair.found, pair.left)]
    rows = [["", *(pair.headed(when) for pair in pairs for when in ("found", "left"))]]
    rows += [[wording.quantity(name), *(_value(group, name) for group in groups)] for name in form.quantities]
    rows += [
        [each.says, *(_computed(group, each.calculation, each.unit) for group in groups)] for each in form.computed
    ]
    if form.judged_by:
        rows.append(["Judged", *(_judged(group, form.judged_by) for group in groups)])
    if fully:
        rows.append(["Band", *(_band(group, form.judged_by) for group in groups)])
        rows.append(["Sets, taken", *(_taken(group) for group in groups)])
    return _turned(rows, pairs) if form.layout == "rows" else rows


def _turned(rows: list[Row], pairs: tuple[FoundAndLeft, ...]) -> list[Row]:
    """Return the table with a row for each found and left; a point measured once has one row."""
    turned = [list(cells) for cells in zip(*rows, strict=True)]
    body = []
    for number, pair in enumerate(pairs):
        found, left = turned[1 + 2 * number : 3 + 2 * number]
        body += [[pair.headed("found and left"), *found[1:]]] if pair.once else [found, left]
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
