"""Rules about order and waiting, about turns, and about the limits that were used."""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.desk import wording
from handsfree.desk.evidence import (
    AssessedAs,
    Assessment,
    Evidence,
    Item,
    failed,
    not_asked,
    number,
    passed,
    unknown,
)
from handsfree.desk.measured import Group
from handsfree.desk.record import RecordedStep
from handsfree.desk.spans import altered_at
from handsfree.events import decisions as ev


def verdict(evidence: Evidence, item: Item) -> Assessment:
    """Judge by the last verdict of a calculation."""
    found = [each for each in evidence.verdicts if each[1].calculation == item.calculation]
    if not found and evidence.recorded.plan and not evidence.recorded.judging(item.calculation):
        return not_asked("the procedure does not judge it")
    return _of_verdict(*found[-1]) if found else unknown("never judged in this visit")


def each_verdict(evidence: Evidence, item: Item) -> Assessment:
    """Judge by the last verdict of a calculation at each rate or measurement point that the procedure judges.

    All must be within; a measurement point that was never judged fails a visit that finished.
    """
    due = dict.fromkeys(evidence.judged_for(gate) for gate in evidence.recorded.judging(item.calculation))
    last = {
        evidence.judged_for(each.gate): (step, each)
        for step, each in evidence.verdicts
        if each.calculation == item.calculation
    }
    findings = [_of_verdict(*each) for each in last.values()]
    for result in (AssessedAs.FAIL, AssessedAs.CANNOT_TELL):
        if bad := [finding for finding in findings if finding.result == result]:
            return bad[0]
    if missing := [point for point in due if point not in last]:
        words = f"never judged: {wording.listed(missing)}"
        return failed(words) if evidence.finished else unknown(words)
    if not findings and evidence.recorded.plan and not due:
        return not_asked("the procedure does not judge it")
    if not findings:
        return unknown("never judged in this visit")
    return passed("; ".join(wording.verdict(each) for _, each in last.values()), findings[-1].seq)


def _of_verdict(step: RecordedStep, last: ev.VerdictGiven) -> Assessment:
    words = f"{wording.verdict(last)}; {wording.outcome(last.outcome, demonstrated=last.demonstrated)}"
    if last.outcome == "within":
        return passed(words, step.seq)
    return failed(words, step.seq) if wording.is_bad(last.outcome) else unknown(words, step.seq)


def settled(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether the trade's quantities settled at every measurement point."""
    del item
    if not evidence.recorded.asks_for_settling:
        return not_asked("the procedure asks for no settling")
    wanted = evidence.forms.report.measured.quantities
    left = [pair.left for pair in evidence.pairs if pair.left is not None]
    if left and not any(group.settles for group in left):
        return unknown("the procedure asks for no settling")
    missing = [
        f"{wording.quantity(name)}{pair.where}"
        for pair in evidence.pairs
        for name in wanted
        if pair.left is None or not pair.left.settled or name not in pair.left.values
    ]
    if missing or not left:
        words = f"not settled: {wording.listed(missing) if missing else 'nothing was measured'}"
        return failed(words) if evidence.finished else unknown(words)
    names, titles = [wording.quantity(name) for name in wanted], [group.title for group in left]
    where = {1: "", 2: f" at both {evidence.forms.report.measured.by}s"}.get(len(left), " everywhere")
    return passed(f"{wording.listed(names)}{where}, last in {wording.listed(titles)}", left[0].stood_seq)


def waited(evidence: Evidence, item: Item) -> Assessment:
    """Judge each group that must settle: its first reading no sooner after the last change than the wait asked.

    A change is a turn, or one of the item's things altered or put back. The wait is the gate's, or the maker's
    when that is longer.
    """
    form = evidence.forms.report.measured
    main = set(form.quantities[:1])
    groups = [group for group in evidence.groups if main & group.quantities and (group.rate or form.by != "rate")]
    judged = [(group, evidence.recorded.wait_of(group.readings[0].event.gate)) for group in groups]
    judged = [(group, wait) for group, wait in judged if wait is not None]
    if not judged:
        if not evidence.recorded.asks_for_settling:
            return not_asked("no waiting is asked for")
        return unknown("nothing was read that must wait, or the procedure cannot be read")
    least: tuple[float, str, int] | None = None
    for group, wait in judged:
        changed = _last_change(evidence, item.things, group.began)
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


def _last_change(evidence: Evidence, things: Sequence[str], before: int) -> int | None:
    last = None
    for step in evidence.recorded.steps:
        if step.at >= before:
            break
        match step.event:
            case ev.Turned():
                last = step.at
            case ev.Altered(thing=thing) | ev.Restored(thing=thing) if thing in things:
                last = step.at
            case _:
                pass
    return last


def several(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether at least three sets stand behind each settled value."""
    del item
    if not evidence.recorded.asks_for_settling:
        return not_asked("the procedure asks for no settling")
    found = [group for group in evidence.main if group.settled]
    if not found:
        return unknown("no settled readings")
    least = min(found, key=lambda group: group.sets)
    words = f"at least {least.sets} sets behind each of {len(found)} settled values ({least.title})"
    return passed(words, least.stood_seq) if least.sets >= 3 else failed(words, least.stood_seq)


def _left_at(evidence: Evidence, point: str) -> Group | None:
    return next((pair.left for pair in evidence.pairs if pair.point == point), None)


def repeated(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether one measurement point was measured again after the last readings at another.

    Where nothing was turned, as on a check, there is no cause to.
    """
    last, before = _left_at(evidence, item.point), _left_at(evidence, item.after)
    if last is None or before is None:
        return unknown(f"{item.point} and {item.after} were not both measured")
    words = f"{last.title} at {wording.clock(last.ended)}, {before.title} at {wording.clock(before.ended)}"
    if last.began > before.ended:
        return passed(words, last.stood_seq)
    if not evidence.turns:
        return passed("nothing was turned that could have moved it", last.stood_seq)
    return failed(words, last.stood_seq)


def during(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether things were in the state asked for through the last readings at each measurement point."""
    left = [pair.left for pair in evidence.pairs if pair.left is not None]
    if not left:
        return unknown("no readings that stand")
    must_be = item.state == "altered"
    told: list[Assessment] = []
    known_things = evidence.recorded.plan.things if evidence.recorded.plan else {}
    if known_things and not any(thing in known_things for thing in item.things):
        return not_asked("the procedure changes no such thing")
    for thing in item.things:
        known = [span for span in evidence.alterations if span.thing == thing]
        named = evidence.recorded.thing_named(thing)
        for group in left:
            states = {altered_at(evidence.alterations, thing, at) for at in (group.began, group.ended)}
            if states != {must_be} and (known or must_be):
                other = evidence.recorded.thing_state(thing, altered=not must_be)
                return failed(f"{named} was {other} during {group.title}", group.stood_seq)
        if not known:
            return unknown(f"{named}: its state is not on record")
        state = evidence.recorded.thing_state(thing, altered=must_be)
        since = known[-1].began if must_be else known[-1].until
        seq = known[-1].began_seq if must_be else known[-1].until_seq
        assert since is not None
        who = f"{named} " if len(item.things) > 1 else ""
        told.append(passed(f"{who}{state} since {wording.clock(since)}", seq))
    return passed("; ".join(finding.why for finding in told), told[-1].seq)


def wrong_conditions(evidence: Evidence) -> list[Assessment]:
    """Return each reading as left that was taken while a thing was not as its step or the checklist asks."""
    found = []
    for group in (pair.left for pair in evidence.pairs if pair.left is not None):
        for thing, state in evidence.recorded.needs_of(group.readings[0].event.gate).items():
            must_be = state == evidence.recorded.thing_state(thing, altered=True)
            if any(altered_at(evidence.alterations, thing, at) != must_be for at in (group.began, group.ended)):
                named = evidence.recorded.thing_named(thing)
                found.append(failed(f"{named} was not {state} during {group.title}", group.stood_seq))
    items = [item for line in evidence.forms.checklist.checklist for item in line.items if item.rule == "during"]
    judged = [during(evidence, item) for item in items]
    return [*found, *(each for each in judged if each.result == AssessedAs.FAIL)]


def explained(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether each difference between found and left has its cause, and each turn an advice with its reason.

    A cause is a turn, or one of the item's things altered between the two.
    """
    quantity = next(iter(evidence.forms.report.measured.quantities), "")
    advice = evidence.recorded.all(ev.Advised)
    changes = [step for step, event in evidence.recorded.all(ev.Altered) if event.thing in item.things]
    causes = [*(step for step, _ in evidence.turns), *changes]
    for pair in evidence.pairs:
        if pair.found is None or pair.left is None or pair.once:
            continue
        found, left = (number(group.values[quantity].reading.value) for group in (pair.found, pair.left))
        caused = [step for step in causes if pair.found.ended <= step.at <= pair.left.began]
        if found is not None and left is not None and abs(left - found) > (item.by or 0) and not caused:
            cause = "turn" if evidence.forms.report.adjusters else "change"
            named = f"{wording.quantity(quantity)}{pair.where}"
            words = f"{named} went from {found} to {left} without a {cause} on record"
            return failed(words, pair.left.stood_seq)
    for step, _ in evidence.turns:
        if not any(told.seq < step.seq for told, _ in advice):
            return failed("a turn without an advice before it", step.seq)
    owed = [(step, turn) for step, turn in evidence.turns if turn.unlike or turn.undoes]
    if sum(turn.eighths if turn.direction == "clockwise" else -turn.eighths for _, turn in owed):
        return failed("a turn that was not as advised was not undone", owed[-1][0].seq)
    if not any(pair.found for pair in evidence.pairs):
        return unknown("nothing was measured as found")
    if not evidence.turns:
        words = f"{len(changes)} changes on record" if changes else "nothing was turned"
        return passed(words, changes[0].seq if changes else None)
    words = f"{len(evidence.turns)} turns, each after an advice with its reason"
    return passed(words, evidence.turns[0][0].seq)


def needless_turns(evidence: Evidence, item: Item) -> Assessment:
    """Judge that no screw was turned when everything that these calculations judge was inside as found."""
    if not evidence.turns:
        return passed("nothing was turned")
    first = evidence.turns[0][0]
    before = [
        (step, each)
        for step, each in evidence.verdicts
        if each.calculation in item.calculations and step.seq < first.seq
    ]
    out = [(step, each) for step, each in before if each.outcome != "within"]
    if out:
        return passed(f"before the first turn: {wording.verdict(out[0][1])}", out[0][0].seq)
    return (
        failed("everything judged before the first turn was inside", first.seq)
        if before
        else unknown("nothing was judged before the first turn", first.seq)
    )


def judged_first(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether a calculation was made, and inside, before the first turn."""
    judged = [(step, each) for step, each in evidence.verdicts if each.calculation == item.calculation]
    if not evidence.turns:
        return passed("nothing was turned") if judged else unknown("it was never judged")
    first = evidence.turns[0][0]
    before = [(step, each) for step, each in judged if step.seq < first.seq]
    if not before:
        return failed("a screw was turned before it was judged", first.seq)
    step, last = before[-1]
    return (
        passed(wording.verdict(last), step.seq)
        if last.outcome == "within"
        else failed(wording.verdict(last), step.seq)
    )


def sourced(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether the verdicts of these calculations have sources that hold the words asked for."""
    judged = [(step, each) for step, each in evidence.verdicts if each.calculation in item.calculations]
    if not judged:
        return unknown("nothing was judged against these limits")
    for step, each in judged:
        if each.outcome in {"no-limit", "missing"}:
            return unknown(f"{evidence.recorded.gate_title(each.gate)}: {wording.verdict(each)}", step.seq)
        if not all(word in source for source in each.sources for word in item.words):
            return failed(f"{evidence.recorded.gate_title(each.gate)}: no {' or '.join(item.words)}", step.seq)
        if not any(each.sources):
            return failed(f"{evidence.recorded.gate_title(each.gate)}: no source", step.seq)
    sources = sorted({source for _, each in judged for source in each.sources})
    return passed("; ".join(sources[:4]), judged[-1][0].seq)


def same_sheets(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether the sheets kept in the folder have the digests that the first entry names."""
    del item
    named = evidence.recorded.opened.sheets_sha256
    if not named:
        return unknown("the record names no sheets")
    for name, digest in named.items():
        if evidence.source_digest(name) != digest:
            return failed(f"{name} in the folder is not the one that was run", 0)
    return passed(wording.listed(sorted(named)), 0)


def decision_rule(evidence: Evidence, item: Item) -> Assessment:
    """Judge whether each verdict states its rule."""
    del item
    judged = [(step, each) for step, each in evidence.verdicts if each.outcome not in {"missing", "no-limit"}]
    if not judged:
        return unknown("nothing was judged")
    bare = [(step, each) for step, each in judged if not each.rule]
    if bare:
        return failed(f"{evidence.recorded.gate_title(bare[0][1].gate)} states none", bare[0][0].seq)
    return passed("; ".join(sorted({each.rule for _, each in judged})))


def guard_band(evidence: Evidence, item: Item) -> Assessment:
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
