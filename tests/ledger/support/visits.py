"""Small made-up visits for the tests, on a disk in memory, with a clock that is told the time."""

from __future__ import annotations

import contextlib
import hashlib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from faulty_disk import FaultyDisk

from handsfree.ledger import CLOSED, DeviceKey, Entry, Ledger, Moment, RecordVerdict, read, verify
from handsfree.problem import Problem

STATE = Path("/state")
VISIT = Path("/visits/boiler")
START = Moment(wall=1_798_000_000_000, mono=5_000, boot="first-boot")
SOURCES = {"procedure.yaml": b"gates: []\n", "job-sheet.yaml": b"serial: DEMO-1\n"}


@dataclass
class ToldClock:
    """A clock that goes 7 ms forward at each look, and otherwise as told."""

    moment: Moment = START

    def now(self) -> Moment:
        self.pass_by(7)
        return self.moment

    def pass_by(self, ms: int) -> None:
        self.moment = replace(self.moment, wall=self.moment.wall + ms, mono=self.moment.mono + ms)

    def set_by(self, ms: int) -> None:
        self.moment = replace(self.moment, wall=self.moment.wall + ms)

    def reboot(self) -> None:
        self.moment = replace(self.moment, boot=self.moment.boot + "'", mono=3)


def begin(
    disk: FaultyDisk, clock: ToldClock | None = None, folder: Path = VISIT, uses: int = 3, **opening: Any
) -> Ledger:
    device = DeviceKey(STATE, disk, uses=uses)
    return Ledger.create(
        folder, opening, sources=SOURCES, clock=clock or ToldClock(), state=STATE, files=disk, device=device
    )


def resume(disk: FaultyDisk, clock: ToldClock | None = None, folder: Path = VISIT) -> Ledger:
    return Ledger.open(folder, clock=clock or ToldClock(), state=STATE, files=disk)


def tone(number: int) -> np.ndarray:
    """A short clip of its own for each number."""
    return (1000 * np.sin(np.arange(80) * (number + 1) / 9)).astype(np.int16)


def events(number: int) -> list[tuple[str, dict[str, Any]]]:
    """One to three made-up events, as an input and what it causes."""
    batch: list[tuple[str, dict[str, Any]]] = [
        ("heard", {"words": ["nine", "point", "three"], "number": number}),
        ("reading", {"quantity": "CO2", "value": f"9.{number % 10}0", "unit": "%", "settled": number % 2 == 0}),
        ("gate-passed", {"gate": f"fire/max-{number}", "of": [1, 2, {"deep": None}]}),
    ]
    return batch[: 1 + number % 3]


def recorded(entries: int, *, closed: bool = True, disk: FaultyDisk | None = None) -> FaultyDisk:
    """Return a disk with a visit of exactly so many entries, in batches of one to three."""
    disk, clock = disk or FaultyDisk(), ToldClock()
    ledger = begin(disk, clock)
    number = 0
    while ledger.head().count < entries - closed:
        batch = events(number)[: entries - closed - ledger.head().count]
        ledger.append(batch)
        clock.pass_by(900)
        number += 1
    if closed:
        ledger.append([(CLOSED, {"reason": "finished"})])
    ledger.release()
    return disk


@dataclass
class WholeVisit:
    """A visit from beginning to close that remembers what was acknowledged, and can go on after a fault."""

    disk: FaultyDisk
    clock: ToldClock = field(default_factory=ToldClock)
    folder: Path = VISIT
    acknowledged: list[Entry] = field(default_factory=list)
    sounds: list[str] = field(default_factory=list)
    step: int = 0
    ledger: Ledger | None = None

    STEPS = 6

    def run(self) -> None:
        """Do the steps not yet acknowledged; whatever the disk raises passes through."""
        if not self.acknowledged:
            self.ledger = begin(self.disk, self.clock, self.folder)
            self.acknowledged.append(self.ledger.opening)
        ledger = self.ledger or resume(self.disk, self.clock, self.folder)
        self.ledger = None
        with ledger:
            while self.step < self.STEPS:
                self._step(ledger)
                self.step += 1

    def finish(self) -> None:
        """Go on after a fault until the visit is closed, as a technician would; nothing may stand in the way."""
        self.clock.pass_by(60_000)
        if not self.acknowledged:
            self.folder = self.folder.with_name(self.folder.name + "-again")
        elif verify(self.folder, files=self.disk).verdict == RecordVerdict.CLOSED:
            with contextlib.suppress(Problem):  # it says that the visit is closed
                resume(self.disk, self.clock, self.folder)
            return
        self.run()

    def assert_nothing_lost(self) -> None:
        """Nothing acknowledged is missing or different, and the record is whole and closed."""
        report = verify(self.folder, files=self.disk, state=STATE)
        assert report.ok, report
        assert "sounds" in report.checks or not self.sounds
        found = {entry.seq: entry for entry in read(self.folder, self.disk)}
        for entry in self.acknowledged:
            assert found[entry.seq] == entry
        for name in self.sounds:
            assert hashlib.sha256(self.disk.bytes_of(self.folder / "sound" / f"{name}.flac")).hexdigest() == name

    def _step(self, ledger: Ledger) -> None:
        batch = events(self.step)
        if self.step == 1:
            name = ledger.keep_sound(tone(self.step), 16_000)
            batch[0][1]["sound"] = name
        if self.step == 3:
            self.clock.set_by(3_600_000)
        if self.step == self.STEPS - 1:
            batch = [(CLOSED, {"reason": "finished"})]
        entries = ledger.append(batch)
        self.acknowledged += entries
        self.sounds += [event["sound"] for _, event in batch if "sound" in event]
