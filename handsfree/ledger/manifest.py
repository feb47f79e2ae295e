"""What a copy without sound says of itself: which clips were left out, sealed by the device that made the copy."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.ledger.clock import milliseconds
from handsfree.ledger.device import DeviceKey, DeviceProof
from handsfree.ledger.entry import canonical
from handsfree.ledger.files import Files, contents
from handsfree.ledger.kinds import is_digest
from handsfree.ledger.ratchet import holds
from handsfree.ledger.visit import VisitFolder

EXPORTED = "exported"
_MEMBERS = frozenset({"at", "device", "digest", "kind", "left_out", "seal", "visit"})


@dataclass(frozen=True)
class ExportManifest:
    """The clips left out of a copy, and the device that sealed it; `fault` says why it does not hold."""

    left_out: frozenset[str] = frozenset()
    device: str = ""
    fault: str = ""


def sealed_manifest(visit: str, digest: str, left_out: Sequence[str], at: str, key: DeviceKey) -> bytes:
    """Return the content of `export.json` for a copy of the visit whose ledger file has that SHA-256."""
    proof, signer = key.use_next()
    members = {
        "at": at,
        "device": proof.as_json(),
        "digest": digest,
        "kind": EXPORTED,
        "left_out": sorted(left_out),
        "visit": visit,
    }
    return canonical({**members, "seal": signer.sign(canonical(members)).hex()}) + b"\n"


def read_manifest(visit: VisitFolder, files: Files, identity: str) -> ExportManifest | None:
    """Return what `export.json` says, held to its seal; None when there is none."""
    try:
        data = contents(files, visit.export_note)
    except FileNotFoundError:
        return None
    try:
        found, digest = _held(data, identity)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return ExportManifest(fault=f"{visit.export_note.name} is not the sealed list of an export")
    if not found.fault and digest != _digest(visit, files):
        return ExportManifest(fault="the list of the export belongs to another state of the record")
    return found


def _digest(visit: VisitFolder, files: Files) -> str:
    digest = hashlib.sha256()
    with files.read(visit.ledger) as stream:
        while block := stream.read(1 << 16):
            digest.update(block)
    return digest.hexdigest()


def _held(data: bytes, identity: str) -> tuple[ExportManifest, str]:
    """Return what the list says, held to its seal, and the digest of the ledger that it was made for."""
    members = json.loads(data)
    if canonical(members) + b"\n" != data:
        raise ValueError("not in canonical form")
    if members.keys() != _MEMBERS or members["kind"] != EXPORTED:
        raise ValueError("other members")
    device = DeviceProof.of_json(members["device"])
    milliseconds(members["at"])
    text = members.pop("seal")
    seal, left_out = bytes.fromhex(text), frozenset(members["left_out"])
    if seal.hex() != text:
        raise ValueError("not in lower-case hex")
    if not all(map(is_digest, left_out)):
        raise ValueError("no clips")
    if members["visit"] != identity:
        return ExportManifest(fault="the list of the export belongs to another visit"), ""
    if not (device.leads_to_key() and holds(bytes.fromhex(device.signer), seal, canonical(members))):
        return ExportManifest(fault="the seal of the list of the export does not fit"), ""
    return ExportManifest(left_out, device.key), str(members["digest"])
