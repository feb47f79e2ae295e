"""Redactions that an earlier version of the program sealed with a device's key; people sign theirs (`office`).

A clip was removed by deleting its file; the entry that names it stays. A line in `redactions.jsonl` says
who, when and why. It is sealed by a one-time key of the device on which it was done, and carries the digest
of the line before it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

from handsfree.ledger.clock import milliseconds
from handsfree.ledger.device import DeviceProof
from handsfree.ledger.entry import NOTHING_BEFORE, canonical, digest_of
from handsfree.ledger.files import Files, contents
from handsfree.ledger.kinds import SOUND_REDACTED
from handsfree.ledger.ratchet import holds
from handsfree.ledger.visit import VisitFolder

_MEMBERS = frozenset({"at", "by", "device", "kind", "prev", "reason", "seal", "sound", "visit"})


@dataclass(frozen=True)
class Redaction:
    """That a clip was taken out: its name, who did it, why, when (RFC 3339), and on which device."""

    sound: str
    by: str
    reason: str
    at: str
    device: DeviceProof

    def said(self) -> str:
        """Return who, when, why and where, for a sentence."""
        return f"{self.by} at {self.at} ({self.reason}), on the device {self.device.key[:12]}…"


@dataclass(frozen=True)
class Redactions:
    """All that stands in `redactions.jsonl`: what holds, by clip, and why what does not hold does not."""

    valid: dict[str, Redaction] = field(default_factory=dict)
    forged: dict[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()

    @property
    def named(self) -> set[str]:
        """The clips of all lines, whether they hold or not."""
        return {*self.valid, *self.forged}

    @staticmethod
    def read(visit: VisitFolder, files: Files, identity: str) -> Redactions:
        """Return the redactions of a visit, whose first entry has the digest `identity`."""
        valid, forged, remarks, prev = {}, {}, [], NOTHING_BEFORE
        for number, line in enumerate(_lines(visit, files), start=1):
            try:
                members = json.loads(line.decode())
                sound = str(members["sound"])
                redaction = _redaction(members, identity, prev)
            except (ValueError, TypeError, KeyError, RecursionError):
                remarks.append(f"line {number} of {visit.redactions.name} is not a redaction")
            else:
                if isinstance(redaction, str):
                    forged[sound] = f"the redaction that names it is not genuine: {redaction}"
                else:
                    valid[sound] = redaction
            prev = digest_of(line)
        return Redactions(valid, forged, tuple(remarks))


def _redaction(members: Any, identity: str, prev: str) -> Redaction | str:
    """Return the redaction on a line, or why it does not hold; ValueError and the like when it is none."""
    if members.keys() != _MEMBERS or members["kind"] != SOUND_REDACTED:
        raise ValueError("other members")
    device, texts = (
        DeviceProof.of_json(members["device"]),
        [members[name] for name in ("sound", "by", "reason", "at")],
    )
    milliseconds(members["at"])
    seal = bytes.fromhex(members.pop("seal"))
    if members["visit"] != identity:
        return "it belongs to another visit"
    if members["prev"] != prev:
        return "a line before it was changed or removed"
    if not (device.leads_to_key() and holds(bytes.fromhex(device.signer), seal, canonical(members))):
        return "its seal does not fit"
    sound, by, reason, at = (str(text) for text in texts)
    return Redaction(sound, by, reason, at, device)


def _lines(visit: VisitFolder, files: Files) -> list[bytes]:
    try:
        return contents(files, visit.redactions).split(b"\n")[:-1]
    except FileNotFoundError:
        return []
