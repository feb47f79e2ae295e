"""Taking visits in from a stick or a share: verified on arrival, nothing overwritten, told what became of each."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from handsfree.ledger import Head, Report, Verdict, export, verify
from handsfree.problem import Problem
from handsfree.visit.replaying import replay_of

ARRIVING = ".arriving-"


class Fate(StrEnum):
    """What became of one visit."""

    TAKEN = "taken in"
    DUPLICATE = "already here"
    DIFFERENT = "taken in beside another record of the same visit"
    FAULTY = "taken in, but it does not verify"
    REFUSED = "not taken in"


@dataclass(frozen=True)
class Arrival:
    """One visit: where it came from, what became of it, where it lies now, and what verification said."""

    source: Path
    fate: Fate
    folder: Path | None
    sentence: str


def receive(source: Path, target: Path) -> Iterator[Arrival]:
    """Take in every visit beneath `source`, one by one; run again after a cut, it goes on with the next.

    Raises Problem when there is no such source, or the target lies in it.
    """
    if not source.is_dir():
        raise Problem("there is no such folder", where=str(source))
    if target.resolve().is_relative_to(source.resolve()) or source.resolve().is_relative_to(target.resolve()):
        raise Problem("visits are taken in from another folder", where=str(target), remedy="name one outside")
    target.mkdir(parents=True, exist_ok=True)
    here = _heads(target)
    for folder in _visits(source):
        try:
            yield _one(folder, target, here)
        except Problem as problem:
            yield Arrival(folder, Fate.REFUSED, None, problem.sentence())


def _one(folder: Path, target: Path, here: dict[str, list[tuple[Path, Head | None]]]) -> Arrival:
    report = verify(folder)
    known = here.get(report.identity or "", [])
    for place, head in known:
        if head == report.head:
            return Arrival(folder, Fate.DUPLICATE, place, report.sentence)
    place = _free(target, folder.name)
    arriving = target / f"{ARRIVING}{place.name}"
    if arriving.exists():
        shutil.rmtree(arriving)
    export(folder, arriving, sound=True)
    copied = verify(arriving, replay=replay_of(arriving))
    if copied.head != report.head:
        raise Problem("the copy is not what was read: the stick or the share fails", where=str(folder))
    arriving.rename(place)
    here.setdefault(report.identity or "", []).append((place, report.head))
    return Arrival(folder, _fate(copied, known=bool(known)), place, copied.sentence)


def _fate(report: Report, *, known: bool) -> Fate:
    if report.verdict == Verdict.BROKEN:
        return Fate.FAULTY
    return Fate.DIFFERENT if known else Fate.TAKEN


def _free(target: Path, name: str) -> Path:
    place, number = target / name.lstrip("."), 2
    while place.exists():
        place = target / f"{name}-{number}"
        number += 1
    return place


def _heads(target: Path) -> dict[str, list[tuple[Path, Head | None]]]:
    found: dict[str, list[tuple[Path, Head | None]]] = {}
    for folder in _visits(target):
        try:
            report = verify(folder)
        except Problem:
            continue
        found.setdefault(report.identity or "", []).append((folder, report.head))
    return found


def _visits(root: Path) -> Iterator[Path]:
    for folder, inner, names in os.walk(root):
        inner[:] = sorted(name for name in inner if not name.startswith("."))
        if "ledger.jsonl" in names:
            inner.clear()
            yield Path(folder)
