"""What an instrument showed beside the values that were called: how many agree, and which still differ."""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.desk import wording
from handsfree.desk.evidence import Evidence
from handsfree.desk.record import RecordedStep
from handsfree.events import decisions as ev
from handsfree.events import inputs as inp

ComparedStep = tuple[RecordedStep, ev.InstrumentCompared]


def standing(evidence: Evidence) -> list[ComparedStep]:
    """Return the comparison of each accepted value that was compared: the last before it was accepted."""
    return _sorted_out(evidence)[0]


def differing(evidence: Evidence) -> list[ComparedStep]:
    """Return each comparison that does not agree: of an accepted value, or of one called and kept nowhere.

    A value that the instrument asked for at a gate that did not want it is kept nowhere, nor is one that stopped
    the work.
    """
    accepted, others = _sorted_out(evidence)
    return [one for one in (*accepted, *others) if not one[1].agrees]


def _sorted_out(evidence: Evidence) -> tuple[list[ComparedStep], list[ComparedStep]]:
    """Return the last comparison of each accepted value, and of each that was called and not accepted there."""
    last: dict[str, ComparedStep] = {}
    accepted: list[ComparedStep] = []
    others: list[ComparedStep] = []
    for step in evidence.recorded.steps:
        match step.event:
            case ev.GateEntered():
                others += last.values()
                last = {}
            case ev.InstrumentCompared() as compared if compared.reading is not None:
                last[compared.shown.quantity] = (step, compared)
            case ev.ReadingAccepted(reading=reading) if reading.quantity in last:
                accepted.append(last.pop(reading.quantity))
            case _:
                pass
    return accepted, [*others, *last.values()]


def witness_facts(evidence: Evidence) -> Iterator[tuple[str, str]]:
    """Yield, as facts of the visit, which instrument was beside it, what agreed, what differed, what it missed."""
    rows = [event for _, event in evidence.recorded.all(inp.InstrumentRow)]
    if not rows:
        return
    compared = standing(evidence)
    agreed = sum(one.agrees for _, one in compared)
    asked = sum(one.asks for _, one in evidence.recorded.all(ev.InstrumentCompared))
    says = (
        f"{rows[-1].instrument} (mapping {rows[-1].mapping}): {len(rows)} rows, {rows[-1].left_out} lines left out"
    )
    says += f"; {agreed} of {len(compared)} accepted values compared agree with it; asked again {asked} times"
    yield "Second witness", says
    for _, one in differing(evidence):
        yield "Differs from the instrument", differs(one)


def differs(one: ev.InstrumentCompared) -> str:
    """Return how a called value and a row stand to each other, in words."""
    called = "not called yet" if one.reading is None else f"called {wording.value(one.reading)}"
    name, when = wording.quantity(one.shown.quantity), f"{abs(one.age_ms) / 1000:.1f} s"
    side = "before" if one.age_ms >= 0 else "after"
    room = f"; within {one.room} {wording.unit(one.shown.unit)} they would agree".rstrip() if one.room else ""
    return f"{name}: {called}, the instrument showed {wording.value(one.shown)} {when} {side} that{room}"
