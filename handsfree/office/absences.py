"""What the log shows that no record shows by itself: numbers that are missing, forks, dates that cannot be."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from handsfree.ledger import VerificationReport
from handsfree.ledger.clock import milliseconds
from handsfree.ledger.entry import digest_of
from handsfree.ledger.verification import CLOCKS_DIFFER_BY
from handsfree.office.endorsements import kept_lines

FAR_MS = 14 * 24 * 3_600_000
"""A visit whose head arrives later than this after its close is told: common practice, no source."""

GAP, FORK, FUTURE, FAR, GONE, OTHER = "gap", "fork", "dated in the future", "far", "gone", "another head"
NOT_SIGNED = "not signed"


@dataclass(frozen=True)
class LogFinding:
    """One thing that the log shows: its name, and a sentence."""

    name: str
    says: str


def findings(leaves: Iterable[Mapping[str, Any]]) -> list[LogFinding]:
    """Return what the heads of visits show when they are laid side by side; the leaves are gone through once."""
    found: list[LogFinding] = []
    by_device: dict[str, dict[int, set[str]]] = defaultdict(lambda: defaultdict(set))
    heads: dict[str, set[str]] = defaultdict(set)
    for leaf in leaves:
        if leaf["kind"] == "visit":
            by_device[leaf["device"]][leaf["use"]].add(leaf["visit"])
            heads[leaf["visit"]].add(leaf["digest"])
            found += _dated(leaf)
        elif leaf["kind"] == "credential":
            by_device[leaf["device"]][leaf["use"]].add(leaf["digest"])
    for device, uses in sorted(by_device.items()):
        found += _numbered(device, uses)
    for visit, digests in sorted(heads.items()):
        if len(digests) > 1:
            says = f"the visit {visit[:12]}… came with {len(digests)} different ends, so its state was copied"
            found.append(LogFinding(FORK, says))
    return found


def _numbered(device: str, uses: Mapping[int, set[str]]) -> Iterable[LogFinding]:
    for use, visits in sorted(uses.items()):
        if len(visits) > 1:
            which = f"number {use} of the device {device[:12]}…"
            says = f"{len(visits)} records bear {which}, so its state was copied"
            yield LogFinding(FORK, says)
    for before, after in pairwise([-1, *sorted(uses)]):
        if after > before + 1:
            which = (
                f"number {before + 1} is" if after == before + 2 else f"numbers {before + 1} to {after - 1} are"
            )
            says = (
                f"{which} missing of the device {device[:12]}…: a visit not handed in, one that could not begin, "
            )
            yield LogFinding(GAP, says + "or a copy made without sound")


def _dated(leaf: Mapping[str, Any]) -> Iterable[LogFinding]:
    arrived, closed = milliseconds(leaf["at"]), milliseconds(leaf["closed_at"])
    visit = f"the visit {leaf['visit'][:12]}… is dated {leaf['closed_at']} and arrived {leaf['at']}"
    if closed > arrived + CLOCKS_DIFFER_BY:
        yield LogFinding(FUTURE, f"{visit}: it was dated in the future")
    elif arrived - closed > FAR_MS:
        yield LogFinding(FAR, f"{visit}, {(arrived - closed) // 86_400_000} days later: its date is its own word")


def beyond(count: int) -> list[LogFinding]:
    """Return what to say of so many lines after those that the checkpoint signs."""
    if not count:
        return []
    says = f"{count} lines follow those that the checkpoint signs: they show nothing; add their visits again"
    return [LogFinding(NOT_SIGNED, says)]


def against_log(report: VerificationReport, leaves: Sequence[Mapping[str, Any]]) -> list[LogFinding]:
    """Return where a verified visit is not as the log has it: another head, or a signed line that is gone."""
    mine = [leaf for leaf in leaves if leaf.get("visit") == report.identity]
    digest = report.head.digest if report.head else ""
    where, found = str(report.folder), []
    heads = {leaf["digest"] for leaf in mine if leaf["kind"] == "visit"}
    if heads and digest not in heads:
        found.append(LogFinding(OTHER, f"{where}: the log has another head of this visit"))
    here = {digest_of(line) for line in kept_lines(report.folder)}
    gone = [leaf for leaf in mine if leaf["kind"] == "endorsement" and leaf["digest"] not in here]
    found += [LogFinding(GONE, f"{where}: a line signed before {leaf['at']} is gone") for leaf in gone]
    return found
