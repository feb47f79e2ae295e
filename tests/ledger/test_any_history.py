"""Whatever happens in whatever order, the record holds what was acknowledged and verifies."""

from __future__ import annotations

import random
from typing import Any

from faulty_disk import FaultyDisk, Loss, PowerCut, cutting_at
from hypothesis import settings
from hypothesis import strategies as some
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from visits import STATE, VISIT, ToldClock, begin, resume, tone

from handsfree.ledger import CLOCK_JUMPED, CLOSED, OPENED, RESUMED, Ledger, RecordVerdict, read, verify

OWN = {OPENED, RESUMED, CLOCK_JUMPED}
EVENTS = some.lists(
    some.tuples(
        some.sampled_from(["heard", "reading"]), some.fixed_dictionaries({"words": some.text("nine ", max_size=9)})
    ),
    min_size=1,
    max_size=3,
)


class AnyHistory(RuleBasedStateMachine):
    """A visit beside a plain list of what was acknowledged."""

    def __init__(self) -> None:
        super().__init__()
        self.disk, self.clock = FaultyDisk(), ToldClock()
        self.ledger: Ledger | None = begin(self.disk, self.clock)
        self.acknowledged: list[tuple[str, dict[str, Any]]] = []
        self.in_doubt: list[tuple[str, dict[str, Any]]] = []
        self.closed = False

    @precondition(lambda self: self.ledger and not self.closed)
    @rule(events=EVENTS)
    def append(self, events: list[tuple[str, dict[str, Any]]]) -> None:
        assert self.ledger
        self.ledger.append(events)
        self.acknowledged += events

    @precondition(lambda self: self.ledger and not self.closed)
    @rule(number=some.integers(0, 9))
    def keep_sound(self, number: int) -> None:
        assert self.ledger
        event = {"sound": self.ledger.keep_sound(tone(number), 16_000)}
        self.ledger.append([("heard", event)])
        self.acknowledged.append(("heard", event))

    @rule(by=some.integers(-(10**7), 10**7))
    def clock_is_set(self, by: int) -> None:
        self.clock.set_by(by)

    @precondition(lambda self: self.ledger and not self.closed)
    @rule(events=EVENTS, calls=some.integers(0, 12), seed=some.integers(0, 2**32))
    def power_fails_while_appending(self, events: list[tuple[str, dict[str, Any]]], calls: int, seed: int) -> None:
        assert self.ledger
        self.disk.fault = cutting_at(self.disk.calls + calls)
        try:
            self.ledger.append(events)
            self.acknowledged += events
        except PowerCut:
            self.in_doubt = events
        self.disk = self.disk.after_power_cut(Loss.seeded(random.Random(seed), 512))
        self.ledger = None
        self.clock.reboot()

    @precondition(lambda self: not self.ledger)
    @rule()
    def resume(self) -> None:
        self.ledger = resume(self.disk, self.clock)
        if len(self.recorded()) > len(self.acknowledged):
            self.acknowledged += self.in_doubt
        self.in_doubt = []

    @precondition(lambda self: self.ledger and not self.closed)
    @rule()
    def close(self) -> None:
        assert self.ledger
        self.ledger.append([(CLOSED, {})])
        self.acknowledged.append((CLOSED, {}))
        self.closed = True

    @invariant()
    def what_was_acknowledged_is_recorded_in_order(self) -> None:
        recorded = self.recorded()
        assert recorded in (self.acknowledged, [*self.acknowledged, *self.in_doubt])

    @invariant()
    def the_record_verifies(self) -> None:
        report = verify(VISIT, files=self.disk, state=STATE)
        assert report.verdict == (RecordVerdict.CLOSED if self.closed else RecordVerdict.OPEN), report

    def recorded(self) -> list[tuple[str, dict[str, Any]]]:
        return [(entry.kind, dict(entry.event)) for entry in read(VISIT, self.disk) if entry.kind not in OWN]


AnyHistory.TestCase.settings = settings(max_examples=20, stateful_step_count=25)
TestAnyHistory = AnyHistory.TestCase
