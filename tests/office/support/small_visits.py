"""Visits of three entries on the machine's own disk, made some time before or after now."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from visits import tone

from handsfree.ledger import CLOSED, DeviceKey, Ledger, Moment

HOUR = 3_600_000
DAY = 24 * HOUR


@dataclass
class Ahead:
    """A clock that is some milliseconds ahead of the real one."""

    by: int

    def now(self) -> Moment:
        wall = time.time_ns() // 1_000_000 + self.by
        return Moment(wall, wall, "boot")


def visit(folder: Path, state: Path, *, ahead: int = -HOUR, demo: bool = False, checkpoint: str = "") -> Path:
    device = DeviceKey(state, uses=8)
    given = {"state": state, "device": device, "clock": Ahead(ahead), "demo": demo}
    opened = {"checkpoint": checkpoint} if checkpoint else {}
    with Ledger.create(folder, opened, sources={"procedure.yaml": b"x"}, **given) as ledger:
        clip = ledger.keep_sound(tone(1), 16_000)
        ledger.append([("heard", {"sound": clip}), ("reading", {"value": "9.30"})])
        ledger.append([(CLOSED, {})])
    return folder
