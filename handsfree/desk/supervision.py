"""The supervisor's checklist, judged line by line from the record: pass, fail or cannot tell, never more."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from handsfree.desk import rules_done, rules_order, rules_readings
from handsfree.desk.evidence import AssessedAs, Assessment, Evidence
from handsfree.desk.forms import Forms, forms_of
from handsfree.problem import Problem
from handsfree.trades.registered_rules import OWN_RULES
from handsfree.trades.supervision import SupervisionRule

RULES: Mapping[str, SupervisionRule[Evidence]] = {
    "all-answered": SupervisionRule(rules_done.all_answered, ("gates",)),
    "answered": SupervisionRule(rules_done.answered, ("gates", "good")),
    "asked": SupervisionRule(rules_done.asked),
    "decision-rule": SupervisionRule(rules_order.decision_rule),
    "during": SupervisionRule(rules_order.during, ("things",)),
    "each-verdict": SupervisionRule(rules_order.each_verdict, ("calculation",)),
    "edits": SupervisionRule(rules_done.edits),
    "explained": SupervisionRule(rules_order.explained, ("by",)),
    "guard-band": SupervisionRule(rules_order.guard_band),
    "in-date": SupervisionRule(rules_done.in_date),
    "judged-first": SupervisionRule(rules_order.judged_first, ("calculation",)),
    "needless-turns": SupervisionRule(rules_order.needless_turns, ("calculations",)),
    "not-copied": SupervisionRule(rules_readings.not_copied),
    "not-done": SupervisionRule(rules_done.not_done),
    "not-round": SupervisionRule(rules_readings.not_round, ("quantities",)),
    "notice": SupervisionRule(rules_done.notice),
    "present": SupervisionRule(rules_done.present, ("quantities",)),
    "put-back": SupervisionRule(rules_done.put_back),
    "readable": SupervisionRule(rules_done.readable),
    "repeated": SupervisionRule(rules_order.repeated, ("point", "after")),
    "same-sheets": SupervisionRule(rules_order.same_sheets),
    "seal": SupervisionRule(rules_done.seal),
    "sets-differ": SupervisionRule(rules_readings.sets_differ),
    "settings-back": SupervisionRule(rules_done.settings_back),
    "settled": SupervisionRule(rules_order.settled),
    "several": SupervisionRule(rules_order.several),
    "sourced": SupervisionRule(rules_order.sourced, ("calculations",)),
    "units": SupervisionRule(rules_readings.units),
    "verdict": SupervisionRule(rules_order.verdict, ("calculation",)),
    "waited": SupervisionRule(rules_order.waited),
}
"""The rules that any trade can use."""


@dataclass(frozen=True)
class JudgedItem:
    """One thing on the list and what the record shows of it."""

    says: str
    finding: Assessment


@dataclass(frozen=True)
class JudgedLine:
    """One line of the list; it fails when anything in it fails, and passes only when everything does."""

    line: str
    items: tuple[JudgedItem, ...]

    @property
    def result(self) -> AssessedAs:
        """The gravest result of its items."""
        results = {item.finding.result for item in self.items}
        return next(each for each in (AssessedAs.FAIL, AssessedAs.CANNOT_TELL, AssessedAs.PASS) if each in results)


def judge(evidence: Evidence) -> tuple[JudgedLine, ...]:
    """Return the whole checklist of the visit's trade, judged; raise Problem when its file is at fault."""
    rules = rules_of(evidence.recorded.trade)
    return tuple(
        JudgedLine(
            line.line, tuple(JudgedItem(item.says, rules[item.rule].judge(evidence, item)) for item in line.items)
        )
        for line in evidence.forms.checklist.checklist
    )


@cache
def rules_of(trade: str) -> Mapping[str, SupervisionRule[Evidence]]:
    """Return the rules at hand for a trade: the desk's and its own, with its checklist held against them."""
    rules: dict[str, SupervisionRule[Evidence]] = dict(RULES)
    if trade in OWN_RULES:
        rules.update(OWN_RULES[trade].rules)
    hold_against(forms_of(trade), rules)
    return rules


def hold_against(forms: Forms, rules: Mapping[str, SupervisionRule[Evidence]]) -> None:
    """Raise Problem at the first thing on a checklist that names no rule, or lacks a key that its rule needs."""
    for number, line in enumerate(forms.checklist.checklist):
        for place, item in enumerate(line.items):
            at = ("checklist", number, "items", place, "rule")
            where = str(forms.checklist_at.place(at))
            if item.rule not in rules:
                known = ", ".join(sorted(rules))
                raise Problem(f"there is no rule {item.rule!r}", where=where, remedy=f"known: {known}")
            lacking = [key for key in rules[item.rule].needs if getattr(item, key) in ("", (), None)]
            if lacking:
                raise Problem(f"the rule {item.rule!r} needs {' and '.join(lacking)}", where=where)
