"""Rules about order and waiting, about turns, and about the limits that were used."""

from __future__ import annotations

from handsfree.desk import wording
from handsfree.desk.evidence import Evidence, Finding, Item, failed, passed, unknown
from handsfree.desk.measured import FLUE, Group
from handsfree.desk.spans import altered_at
from handsfree.events import decisions as ev
from handsfree.gates.readings import ReadingsGate

AGREE = 0.2
"""A difference between found and left above this many points of CO2 wants a turn to explain it (no source)."""

CHANGES = frozenset({"rate-hold", "cover", "probe"})


def verdict(evidence: Evidence, item: Item) -> Finding:
    """Judge by the last verdict of a calculation at each gate that names it; the gravest counts."""
    found = [each for each in evidence.verdicts if each[1].calculation == item["calculation"]]
    if not found:
        return unknown("never judged in this visit")
    step, last = found[-1]
    words = f"{last.sentence}; {wording.outcome(last.outcome, demonstrated=last.demonstrated)}"
    match last.outcome:
        case "within":
            return passed(words, step.seq)
        case "too-close" | "no-limit" | "missing":
            return unknown(words, step.seq)
        case _:
            return failed(words, step.seq)


def both_settled(evidence: Evidence, item: Item) -> Finding:
    """Judge whether CO2, O2 and CO settled at both rates."""
    del item
    missing = []
    for rate in evidence.rates:
        after = rate.after
        missing += [
            f"{wording.quantity(name)} at {rate.rate}"
            for name in FLUE
            if after is None or name not in after.values
        ]
    if missing:
        words = f"not settled: {wording.listed(missing)}"
        return failed(words) if evidence.finished else unknown(words)
    high, low = (rate.after for rate in evidence.rates)
    assert high is not None
    assert low is not None
    return passed(f"CO₂, O₂ and CO at both rates, last in {high.title} and {low.title}", high.settled_seq)


def waited(evidence: Evidence, item: Item) -> Finding:
    """Judge each group that must settle: its first reading no sooner after the last change than the wait asked.

    A change is a turn, the rate held or released, the cover or the probe moved. The wait is the gate's, or
    the maker's when that is longer.
    """
    del item
    judged = [
        (group, _wait(evidence, group)) for group in evidence.groups if group.rate and "co2" in _names(group)
    ]
    judged = [(group, wait) for group, wait in judged if wait is not None]
    if not judged:
        return unknown("no waiting is asked for, or the procedure cannot be read")
    least: tuple[float, str, int] | None = None
    for group, wait in judged:
        changed = _last_change(evidence, group.began)
        if changed is None or wait is None:
            continue
        spare = (group.began - changed) / 1000 - wait
        if least is None or spare < least[0]:
            words = f"{(group.began - changed) / 1000:.0f} s before {group.title}, {wait} s asked"
            least = (spare, words, group.readings[0].step.seq)
    if least is None:
        return unknown("no change is on record before the readings")
    spare, words, seq = least
    words = f"shortest wait {words}"
    return passed(words, seq) if spare >= 0 else failed(words, seq)


def _names(group: Group) -> set[str]:
    return {taken.event.reading.quantity for taken in group.readings}


def _wait(evidence: Evidence, group: Group) -> int | None:
    plan = evidence.recorded.plan
    if plan is None:
        return None
    gate = plan.gate(group.readings[0].event.gate).gate
    if not isinstance(gate, ReadingsGate) or gate.settle is None:
        return None
    return max(gate.settle.wait_seconds, plan.sheets.appliance.wait_after_change_seconds or 0)


def _last_change(evidence: Evidence, before: int) -> int | None:
    last = None
    for step in evidence.recorded.steps:
        if step.at >= before:
            break
        match step.event:
            case ev.Turned():
                last = step.at
            case ev.Altered(thing=thing) | ev.Restored(thing=thing) if thing in CHANGES:
                last = step.at
            case _:
                pass
    return last


def several(evidence: Evidence, item: Item) -> Finding:
    """Judge whether at least three sets stand behind each settled value of the flue."""
    del item
    if not evidence.flue:
        return unknown("no settled flue readings")
    least = min(evidence.flue, key=lambda group: group.sets)
    words = f"at least {least.sets} sets behind each of {len(evidence.flue)} settled values ({least.title})"
    return passed(words, least.settled_seq) if least.sets >= 3 else failed(words, least.settled_seq)


def maximum_repeated(evidence: Evidence, item: Item) -> Finding:
    """Judge whether maximum was measured again after the last minimum."""
    del item
    high, low = (rate.after for rate in evidence.rates)
    if high is None or low is None:
        return unknown("not both rates were measured")
    words = f"{high.title} at {wording.clock(high.ended)}, {low.title} at {wording.clock(low.ended)}"
    return passed(words, high.settled_seq) if high.began > low.ended else failed(words, high.settled_seq)


def cover_on(evidence: Evidence, item: Item) -> Finding:
    """Judge whether the cover was fitted through the last readings at both rates."""
    left = [rate.after for rate in evidence.rates if rate.after is not None]
    known = [span for span in evidence.alterations if span.thing == item["thing"]]
    if not left:
        return unknown("no settled flue readings")
    for group in left:
        if altered_at(evidence.alterations, item["thing"], group.began) or altered_at(
            evidence.alterations, item["thing"], group.ended
        ):
            return failed(f"the cover was off during {group.title}", group.settled_seq)
    if not known:
        return unknown("the cover's state is not on record")
    last = known[-1]
    assert last.until is not None
    return passed(f"fitted since {wording.clock(last.until)}", last.until_seq)


def explained(evidence: Evidence, item: Item) -> Finding:
    """Judge whether each difference between found and left has turns, and each turn an advice with its reason."""
    del item
    advice = evidence.recorded.all(ev.Advised)
    for rate in evidence.rates:
        if rate.before is None or rate.after is None or rate.once:
            continue
        found, left = (float(group.values["co2"].reading.value) for group in (rate.before, rate.after))
        turned = [step for step, _ in evidence.turns if rate.before.ended <= step.at <= rate.after.began]
        if abs(left - found) > AGREE and not turned:
            words = f"CO₂ at {rate.rate} went from {found:.2f} to {left:.2f} without a turn on record"
            return failed(words, rate.after.settled_seq)
    for step, _ in evidence.turns:
        if not any(told.seq < step.seq for told, _ in advice):
            return failed("a turn without an advice before it", step.seq)
    if not any(rate.before for rate in evidence.rates):
        return unknown("nothing was measured as found")
    count = len(evidence.turns)
    words = f"{count} turns, each after an advice with its reason" if count else "nothing was turned"
    return passed(words, evidence.turns[0][0].seq if evidence.turns else None)


def needless_turns(evidence: Evidence, item: Item) -> Finding:
    """Judge that no screw was turned when both rates and the rule between them were inside as found."""
    del item
    if not evidence.turns:
        return passed("nothing was turned")
    first = evidence.turns[0][0]
    kinds = {"combustion-at-rate", "rates-compared"}
    before = [
        (step, each) for step, each in evidence.verdicts if each.calculation in kinds and step.seq < first.seq
    ]
    out = [(step, each) for step, each in before if each.outcome != "within"]
    if out:
        return passed(f"before the first turn: {out[0][1].sentence}", out[0][0].seq)
    return (
        failed("everything judged before the first turn was inside", first.seq)
        if before
        else unknown("nothing was judged before the first turn", first.seq)
    )


def supply_first(evidence: Evidence, item: Item) -> Finding:
    """Judge whether the gas supply was judged, and inside, before the first turn."""
    del item
    judged = [(step, each) for step, each in evidence.verdicts if each.calculation == "supply-pressure"]
    if not evidence.turns:
        return passed("nothing was turned") if judged else unknown("the supply was never judged")
    first = evidence.turns[0][0]
    before = [(step, each) for step, each in judged if step.seq < first.seq]
    if not before:
        return failed("a screw was turned before the supply was judged", first.seq)
    step, last = before[-1]
    return passed(last.sentence, step.seq) if last.outcome == "within" else failed(last.sentence, step.seq)


def sourced(evidence: Evidence, item: Item) -> Finding:
    """Judge whether the verdicts on combustion and supply name the maker's page and revision."""
    del item
    kinds = {"combustion-at-rate", "rates-compared", "supply-pressure"}
    judged = [(step, each) for step, each in evidence.verdicts if each.calculation in kinds]
    if not judged:
        return unknown("nothing was judged against the maker's limits")
    for step, each in judged:
        if each.outcome in {"no-limit", "missing"}:
            return unknown(f"{evidence.recorded.gate_title(each.gate)}: {each.sentence}", step.seq)
        if not all("page" in source and "revision" in source for source in each.sources):
            return failed(f"{evidence.recorded.gate_title(each.gate)}: no page or revision", step.seq)
    sources = sorted({source for _, each in judged for source in each.sources})
    return passed("; ".join(sources[:4]), judged[-1][0].seq)


def same_sheets(evidence: Evidence, item: Item) -> Finding:
    """Judge whether the sheets kept in the folder have the digests that the first entry names."""
    del item
    named = evidence.recorded.opened.sheets_sha256
    if not named:
        return unknown("the record names no sheets")
    for name, digest in named.items():
        if evidence.source_digest(name) != digest:
            return failed(f"{name} in the folder is not the one that was run", 0)
    return passed(wording.listed(sorted(named)), 0)


def decision_rule(evidence: Evidence, item: Item) -> Finding:
    """Judge whether each verdict states its rule."""
    del item
    judged = [(step, each) for step, each in evidence.verdicts if each.outcome not in {"missing", "no-limit"}]
    if not judged:
        return unknown("nothing was judged")
    bare = [(step, each) for step, each in judged if not each.rule]
    if bare:
        return failed(f"{evidence.recorded.gate_title(bare[0][1].gate)} states none", bare[0][0].seq)
    return passed("; ".join(sorted({each.rule for _, each in judged})))


def guard_band(evidence: Evidence, item: Item) -> Finding:
    """Tell which standing verdicts are inside the band but not proven there."""
    del item
    inside = [(step, each) for step, each in evidence.final_verdicts if each.outcome == "within"]
    if not inside:
        return unknown("no verdict is inside")
    marked = [(step, each) for step, each in inside if not each.demonstrated]
    if not marked:
        return passed("none: each value inside is demonstrated there")
    names = [f"{evidence.recorded.gate_title(each.gate)} (in band, not demonstrated)" for _, each in marked]
    return passed(wording.listed(names), marked[0][0].seq)
