"""The supervisor's list, judged line by line from the record: pass, fail or cannot tell, never more."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from ruamel.yaml import YAML

from handsfree.desk import rules_done, rules_numbers, rules_order
from handsfree.desk.evidence import Evidence, Finding, Item, Result

Rule = Callable[[Evidence, Item], Finding]

RULES: dict[str, Rule] = {
    "all-answered": rules_done.all_answered,
    "answered": rules_done.answered,
    "basis": rules_numbers.basis,
    "both-settled": rules_order.both_settled,
    "co-basis": rules_numbers.carbon_monoxide,
    "condensate": rules_numbers.condensate,
    "cover-on": rules_order.cover_on,
    "decision-rule": rules_order.decision_rule,
    "edits": rules_done.edits,
    "excess-air": rules_numbers.excess,
    "explained": rules_order.explained,
    "fan-speed": rules_numbers.fan_speed,
    "flue-and-return": rules_numbers.flue_and_return,
    "guard-band": rules_order.guard_band,
    "implied-fuel": rules_numbers.implied,
    "maximum-repeated": rules_order.maximum_repeated,
    "needless-turns": rules_order.needless_turns,
    "not-copied": rules_numbers.not_copied,
    "not-done": rules_done.not_done,
    "not-round": rules_numbers.not_round,
    "notice": rules_done.notice,
    "pairs": rules_numbers.pairs,
    "present": rules_done.present,
    "put-back": rules_done.put_back,
    "rates-differ": rules_numbers.rates_differ,
    "same-sheets": rules_order.same_sheets,
    "seal": rules_done.seal,
    "settings-back": rules_done.settings_back,
    "several": rules_order.several,
    "sourced": rules_order.sourced,
    "supply-first": rules_order.supply_first,
    "turndown": rules_numbers.turndown,
    "units": rules_numbers.units,
    "verdict": rules_order.verdict,
    "waited": rules_order.waited,
}


@dataclass(frozen=True)
class Judged:
    """One thing on the list and what the record shows of it."""

    says: str
    finding: Finding


@dataclass(frozen=True)
class JudgedLine:
    """One line of the list; it fails when anything in it fails, and passes only when everything does."""

    line: str
    items: tuple[Judged, ...]

    @property
    def result(self) -> Result:
        """The gravest result of its items."""
        results = {item.finding.result for item in self.items}
        return next(each for each in (Result.FAIL, Result.CANNOT_TELL, Result.PASS) if each in results)


@cache
def _list() -> tuple[dict[str, Any], ...]:
    text = resources.files("handsfree.desk").joinpath("supervision.yaml").read_text("utf-8")
    return tuple(YAML(typ="safe", pure=True).load(text))


def judge(evidence: Evidence) -> tuple[JudgedLine, ...]:
    """Return the whole list, judged."""
    return tuple(
        JudgedLine(
            line["line"],
            tuple(Judged(item["says"], RULES[item["rule"]](evidence, item)) for item in line["items"]),
        )
        for line in _list()
    )
