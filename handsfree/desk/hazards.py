"""The hazards that visits left behind: which of what is unresolved is one, and all of them over all visits."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from handsfree.desk.concerns import STOPPED
from handsfree.desk.index import Index
from handsfree.office.endorsements import kept_lines, read_endorsements
from handsfree.office.hazards import HazardStanding, standings
from handsfree.office.verification import known_enrolment
from handsfree.problem import Problem

KINDS = (
    "Record broken", "Record damaged", "Still altered", "Limit passed", "Stopped", "Cleared by “misheard”",
    "Stop in the sound",
)  # fmt: skip
"""Dangerous ends: a record that does not tell how the visit ended, something left altered, a limit passed
and left, any stop after which nothing went on (made safe, a collapse, all out), a stop that was called misheard,
a stop in the sound that the record did not take.
"""


@dataclass(frozen=True)
class VisitHazard:
    """One hazard of one visit, and where it stands; the name is the one that people sign to."""

    key: str
    folder: Path
    name: str
    kind: str
    says: str
    seq: int | None
    weight: int
    visit: str
    job: str
    day: str
    identity: str
    standing: HazardStanding
    as_last_examined: bool = False
    """Whether the record has changed since, and was not examined yet or cannot be."""

    @property
    def told_as(self) -> tuple[str, str]:
        """Return what names it among all visits, whichever copy it was seen in."""
        return (self.identity or self.key, self.name)

    @property
    def sentence(self) -> str:
        """The hazard and its visit in one line, for whoever is alerted."""
        return f"{self.kind}: {self.says}. {self.visit}, job {self.job}, {self.day}"


def name_of(kind: str, seq: int | None) -> str:
    """Return the name of a hazard, by what it is and the entry that shows it."""
    words = re.sub(r"[^a-z]+", "-", kind.lower()).strip("-")
    return f"{words}-{0 if seq is None else seq}"


def hazards_of_all(index: Index) -> list[VisitHazard]:
    """Return all hazards of all visits but demos: open, unowned, gravest, newest first.

    Those of a visit that changed or cannot be read any more stand as they were last seen.
    """
    rows = {row.key: row for row in index.store.concerning(STOPPED) if row.anchor != "demo"}
    concerns = index.store.concerns(list(rows))
    found = []
    for key, row in rows.items():
        mine = [one for one in concerns[key] if one.kind in KINDS and one.weight >= STOPPED]
        folder = index.root / row.path
        signed = _standings(folder, row.identity, index.enrolment) if mine else {}
        for one in mine:
            name = name_of(one.kind, one.seq)
            standing = signed.get(name, HazardStanding())
            visit = f"{row.appliance} {row.serial}"
            found.append(
                VisitHazard(
                    key, folder, name, one.kind, one.says, one.seq, one.weight, visit, row.job, row.day,
                    row.identity, standing, row.seal in {"unchecked", "unreadable"},
                )
            )  # fmt: skip
    ordered = sorted(found, key=lambda one: (not one.standing.open, bool(one.standing.owner), -one.weight))
    return _each_once(ordered)


def _each_once(hazards: list[VisitHazard]) -> list[VisitHazard]:
    """Return the hazards without those of further copies of a visit; what was signed to any copy counts."""
    found: dict[tuple[str, str], VisitHazard] = {}
    for one in hazards:
        before = found.get(one.told_as)
        if before is None or _further(one.standing) > _further(before.standing):
            found[one.told_as] = one
    return sorted(found.values(), key=hazards.index)


def by_visit(hazards: Sequence[VisitHazard]) -> list[list[VisitHazard]]:
    """Return hazards by the visit that left them, in the order given; a visit stands where its first one did."""
    found: dict[str, list[VisitHazard]] = {}
    for one in hazards:
        found.setdefault(one.identity or one.key, []).append(one)
    return list(found.values())


def _further(standing: HazardStanding) -> tuple[str, str]:
    """Return what orders the standings of one hazard: the last word on it counts."""
    return (max(standing.closed_at, standing.since), standing.closed_at)


def _standings(folder: Path, identity: str, enrolment: Path | None) -> dict[str, HazardStanding]:
    try:
        return standings(read_endorsements(kept_lines(folder), identity, known_enrolment(enrolment)))
    except Problem:
        return {}
