"""What lasted: how long each thing was altered and where it was restored, and how long each gate took."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.desk import wording
from handsfree.desk.record import Recorded
from handsfree.events import decisions as ev


@dataclass(frozen=True)
class Alteration:
    """A thing while it was altered; `until` is None when it was never put back."""

    thing: str
    said: str
    state: str
    began: int
    began_seq: int
    gate: str
    until: int | None = None
    until_seq: int | None = None
    restored_gate: str = ""
    found: str = ""
    """The setting as found, for a thing that has one."""
    left: str = ""
    """The setting as put back."""

    @property
    def as_found_again(self) -> bool | None:
        """Whether the setting put back is the one found; None when the thing has no setting."""
        return None if not self.found else self.found == self.left


def alterations(recorded: Recorded) -> list[Alteration]:
    """Return every alteration in the order they began; one altered again while altered stays one span."""
    done: list[Alteration] = []
    open_: dict[str, Alteration] = {}
    found: dict[str, str] = {}
    touched: set[str] = set()
    for step in recorded.steps:
        match step.event:
            case ev.FoundValue(thing=thing, reading=reading) if thing not in touched:
                found[thing] = wording.value(reading)  # older records also name values read after a change
            case ev.Altered(thing=thing, gate=gate) if thing not in open_:
                touched.add(thing)
                open_[thing] = Alteration(
                    thing,
                    recorded.thing_named(thing),
                    recorded.thing_state(thing, altered=True),
                    step.at,
                    step.seq,
                    recorded.gate_title(gate),
                    found=found.get(thing, ""),
                )
            case ev.Restored(thing=thing, gate=gate, reading=reading) if thing in open_:
                left = "" if reading is None else wording.value(reading)
                done.append(_ended(open_.pop(thing), step.at, step.seq, recorded.gate_title(gate), left))
            case _:
                pass
    return sorted([*done, *open_.values()], key=lambda each: each.began_seq)


def _ended(began: Alteration, at: int, seq: int, gate: str, left: str) -> Alteration:
    return Alteration(
        began.thing,
        began.said,
        began.state,
        began.began,
        began.began_seq,
        began.gate,
        at,
        seq,
        gate,
        began.found,
        left,
    )


def altered_at(spans: list[Alteration], thing: str, at: int) -> bool:
    """Say whether a thing was altered at a time."""
    return any(
        span.thing == thing and span.began <= at and (span.until is None or at < span.until) for span in spans
    )


@dataclass(frozen=True)
class GateSpan:
    """A gate from its entry to its way out; `outcome` is empty while it was never left."""

    gate: str
    title: str
    began: int
    seq: int
    until: int
    outcome: str = ""

    @property
    def seconds(self) -> float:
        """How long it took."""
        return (self.until - self.began) / 1000


def gate_spans(recorded: Recorded) -> list[GateSpan]:
    """Return each passage of each gate in order."""
    spans: list[GateSpan] = []
    entered: tuple[ev.GateEntered, int, int] | None = None
    for step in recorded.steps:
        match step.event:
            case ev.GateEntered() as event:
                entered = (event, step.at, step.seq)
            case ev.GatePassed(outcome=outcome) if entered is not None:
                spans.append(GateSpan(entered[0].gate, entered[0].title, entered[1], entered[2], step.at, outcome))
                entered = None
            case ev.WentBack() if entered is not None:
                spans.append(
                    GateSpan(entered[0].gate, entered[0].title, entered[1], entered[2], step.at, "went back")
                )
                entered = None
            case _:
                pass
    if entered is not None:
        end = recorded.steps[-1].at
        closed = recorded.closed
        outcome = closed.outcome if closed and ev.at_its_end(closed.outcome) else ""
        spans.append(GateSpan(entered[0].gate, entered[0].title, entered[1], entered[2], end, outcome))
    return spans
