"""What an office lays ready of visits: a question about one, and earlier ones without their sound."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from handsfree.desk.record import load
from handsfree.handover.package import packed
from handsfree.ledger import export
from handsfree.ledger.clock import Clock, SystemClock, stamp
from handsfree.office.endorsements import LONGEST_REMARK
from handsfree.problem import Problem

LONGEST_QUESTION = LONGEST_REMARK


def question_about(visit: Path, question: str, clock: Clock | None = None, *, at: str = "") -> tuple[str, bytes]:
    """Return a supervisor's question about a visit as a file: its name and its content (JSON).

    It is asked now, or was `at` a time.
    """
    asked = question.strip()
    if not asked or len(asked) > LONGEST_QUESTION or not asked.isprintable():
        raise Problem(f"a question is 1 to {LONGEST_QUESTION} printed characters", where="ask")
    opened, at = load(visit).opened, at or stamp((clock or SystemClock()).now().wall)
    told = {"visit": visit.name, "job": opened.job, "appliance": opened.appliance, "serial": opened.serial,
            "day": opened.day, "at": at, "question": asked}  # fmt: skip
    name = f"{at.replace(':', '')}-{visit.name}.json"
    return name, json.dumps(told, ensure_ascii=False, indent=1).encode()


def without_sound(visit: Path) -> tuple[str, bytes]:
    """Return a visit's record as a file without its sound: its name and its content (a package)."""
    with tempfile.TemporaryDirectory(prefix="handsfree-") as room:
        copy = Path(room) / visit.resolve().name
        export(visit, copy, sound=False)
        return f"{copy.name}.tar", packed(copy, Path(room) / "visit.tar").file.read_bytes()
