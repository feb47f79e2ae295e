"""The supervisor's checklist, judged line by line from the record: pass, fail or cannot tell, never more."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from handsfree.desk import rules_done, rules_order, rules_readings
from handsfree.desk.evidence import AssessedAs, Assessment, Evidence, Item, not_asked
from handsfree.desk.forms import OF_ALL_TRADES, Forms, forms_of, forms_of_own
from handsfree.problem import Problem
from handsfree.procedure.trades import TradeData
from handsfree.trades.registered_rules import OWN_RULES
from handsfree.trades.supervision import About, SupervisionRule

RULES: Mapping[str, SupervisionRule[Evidence]] = {
    "all-answered": SupervisionRule(rules_done.all_answered, ("gates",)),
    "answered": SupervisionRule(rules_done.answered, ("gates", "good")),
    "asked": SupervisionRule(rules_done.asked),
    "decision-rule": SupervisionRule(rules_order.decision_rule, about="trust", judges=True),
    "during": SupervisionRule(rules_order.during, ("things",), about="order", reads=("measured",)),
    "each-verdict": SupervisionRule(rules_order.each_verdict, ("calculation",)),
    "edits": SupervisionRule(rules_done.edits, about="trust"),
    "explained": SupervisionRule(rules_order.explained, ("by",), about="order", reads=("measured",)),
    "guard-band": SupervisionRule(rules_order.guard_band, judges=True),
    "in-date": SupervisionRule(rules_done.in_date),
    "judged-first": SupervisionRule(rules_order.judged_first, ("calculation",), about="order", judges=True),
    "needless-turns": SupervisionRule(
        rules_order.needless_turns, ("calculations",), about="order", reads=("measured",)
    ),
    "not-copied": SupervisionRule(rules_readings.not_copied, about="trust", reads=("measured",)),
    "not-done": SupervisionRule(rules_done.not_done),
    "not-smooth": SupervisionRule(rules_readings.not_smooth, about="trust", reads=("measured",)),
    "not-round": SupervisionRule(rules_readings.not_round, ("quantities",), about="trust"),
    "notice": SupervisionRule(rules_done.notice),
    "present": SupervisionRule(rules_done.present, ("quantities",)),
    "put-back": SupervisionRule(rules_done.put_back, about="back"),
    "readable": SupervisionRule(rules_done.readable, about="trust"),
    "repeated": SupervisionRule(rules_order.repeated, ("point", "after"), about="order", reads=("measured",)),
    "same-sheets": SupervisionRule(rules_order.same_sheets, about="trust"),
    "seal": SupervisionRule(rules_done.seal, about="trust"),
    "sets-differ": SupervisionRule(rules_readings.sets_differ, about="trust", reads=("measured",)),
    "settings-back": SupervisionRule(rules_done.settings_back, about="back"),
    "settled": SupervisionRule(rules_order.settled, about="settled"),
    "several": SupervisionRule(rules_order.several, about="settled"),
    "sourced": SupervisionRule(rules_order.sourced, ("calculations",), about="trust", judges=True),
    "units": SupervisionRule(rules_readings.units, about="trust"),
    "verdict": SupervisionRule(rules_order.verdict, ("calculation",)),
    "waited": SupervisionRule(rules_order.waited, about="settled"),
}
"""The rules that any trade can use."""


@dataclass(frozen=True)
class JudgedItem:
    """One thing on the list, what the record shows of it, and which of the five questions it answers."""

    says: str
    finding: Assessment
    rule: str = ""
    about: About = "right"


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
    hold_against(evidence.forms, rules)
    return tuple(
        JudgedLine(
            line.line,
            tuple(
                JudgedItem(item.says, _found(evidence, item, rules[item.rule]), item.rule, rules[item.rule].about)
                for item in line.items
            ),
        )
        for line in evidence.forms.checklist.checklist
    )


def _found(evidence: Evidence, item: Item, rule: SupervisionRule[Evidence]) -> Assessment:
    """Judge an item, unless the procedure reads or judges nothing that it is about."""
    recorded = evidence.recorded
    found = rule.judge(evidence, item)
    if found.result != AssessedAs.CANNOT_TELL or not found.applies or recorded.plan is None:
        return found
    first = evidence.forms.report.measured.quantities[:1]
    wanted = {*item.quantities, *(name for name in rule.reads if name != "measured")}
    wanted |= set(first) if "measured" in rule.reads else set()
    if wanted and not wanted & set(recorded.read):
        return not_asked("the procedure does not read it")
    calculations = (*item.calculations, *([item.calculation] if item.calculation else ()))
    if rule.judges and not recorded.judged_by(calculations):
        return not_asked("the procedure does not judge it")
    return found


@cache
def rules_of(trade: str) -> Mapping[str, SupervisionRule[Evidence]]:
    """Return the rules at hand for a trade: the desk's and its own, with its checklist held against them."""
    rules: dict[str, SupervisionRule[Evidence]] = dict(RULES)
    if trade in OWN_RULES:
        rules.update(OWN_RULES[trade].rules)
    hold_against(forms_of(trade), rules)
    return rules


def check_forms_of_own(trade: TradeData) -> None:
    """Raise Problem, with file:line, at the first fault in the forms that an author's own trade brings."""
    forms, report = forms_of_own(trade), trade.folder.documents.get("report.yaml")
    for key in OF_ALL_TRADES if report is not None else ():
        if report is not None and getattr(forms.report, key):
            what = f"`{key}` is told of all trades together, so the trade of an author cannot have it"
            raise Problem(what, where=str(report.key_place((key,))), remedy="remove it")
    hold_against(forms, RULES)


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
