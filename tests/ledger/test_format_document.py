"""A reader written from FORMAT.md alone, with nothing of this program: the document is complete and true."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from older_redactions import redact
from visits import tone

from handsfree.ledger import CLOSED, DeviceKey, Ledger


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def without_seal(members: dict[str, Any]) -> bytes:
    """Canonical form, for the plain text and whole numbers of this test: what RFC 8785 says of them."""
    rest = {name: value for name, value in members.items() if name != "seal"}
    return json.dumps(rest, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def signed(key: str, members: dict[str, Any]) -> None:
    public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(key))
    public.verify(bytes.fromhex(members["seal"]), without_seal(members))


def root(device: dict[str, Any]) -> str:
    """RFC 9162, section 2.1.3.2, for a tree of a power of two leaves."""
    value, place = hashlib.sha256(b"\0" + bytes.fromhex(device["signer"])).digest(), device["use"]
    for step in map(bytes.fromhex, device["path"]):
        pair = step + value if place & 1 else value + step
        value, place = hashlib.sha256(b"\x01" + pair).digest(), place >> 1
    return value.hex()


def sounds(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for name, inner in value.items():
            if name == "sound":
                yield inner
            yield from sounds(inner)
    if isinstance(value, list):
        for inner in value:
            yield from sounds(inner)


def read_as_documented(folder: Path, device_key: str) -> tuple[int, str]:
    """Check everything FORMAT.md says; return the count and the checksum."""
    lines = (folder / "ledger.jsonl").read_bytes().split(b"\n")
    assert lines.pop() == b""
    prev, key, to_come, anchor, redacted = "0" * 64, "", 0, (None, 0), {}
    for line in (folder / "redactions.jsonl").read_bytes().split(b"\n")[:-1]:
        members = json.loads(line)
        assert members["visit"] == sha(lines[0])
        assert root(members["device"]) == device_key
        signed(members["device"]["signer"], members)
        redacted[members["sound"]] = members["by"]
    for number, line in enumerate(lines):
        entry = json.loads(line)
        assert (entry["seq"], entry["prev"]) == (number, prev)
        if number == 0:
            assert (entry["kind"], entry["format"]) == ("visit-opened", 1)
            assert root(entry["device"]) == entry["device"]["key"] == device_key
            key = entry["device"]["signer"]
            for name, digest in entry["event"]["sources"].items():
                assert sha((folder / "sources" / name).read_bytes()) == digest
        signed(key, entry)
        assert not to_come or entry["to_come"] == to_come - 1
        for name in sounds(entry["event"]):
            clip = folder / "sound" / f"{name}.flac"
            assert name in redacted or sha(clip.read_bytes()) == name
        if entry["kind"] in {"visit-opened", "visit-resumed", "clock-jumped"} or entry["boot"] != anchor[0]:
            anchor = (entry["boot"], entry["mono"])
        assert entry["mono"] >= anchor[1]
        prev, key, to_come = sha(line), entry["next_key"], entry["to_come"]
    assert json.loads(lines[-1])["kind"] == "visit-closed"
    digits = f"{int(prev[:16], 16) % 10**12:012d}"
    return len(lines), " ".join(digits[at : at + 3] for at in (0, 3, 6, 9))


def test_a_reader_written_from_the_document_agrees(tmp_path: Path) -> None:
    """It accepts a whole record with an interruption and a redaction, and finds the same count and checksum."""
    folder, state = tmp_path / "visit", tmp_path / "state"
    device = DeviceKey(state, uses=4)
    with Ledger.create(folder, {"job": "made up"}, sources={"p.yaml": b"x"}, state=state, device=device) as ledger:
        clips = [ledger.keep_sound(tone(number), 16_000) for number in range(2)]
        ledger.append([("heard", {"sound": clips[0]}), ("reading", {"value": "9.30", "unit": "%"})])
    with Ledger.open(folder, state=state) as ledger:
        ledger.append([("heard", {"said": [{"sound": clips[1]}]}), (CLOSED, {"reason": "finished"})])
        head = ledger.head()
    redact(folder, clips[1], by="T. Demo", reason="a private word", state=state)
    assert read_as_documented(folder, device.public_key()) == (head.count, head.checksum)
    altered = (folder / "ledger.jsonl").read_bytes().replace(b'"9.30"', b'"9.80"')
    (folder / "ledger.jsonl").write_bytes(altered)
    with pytest.raises(InvalidSignature):
        read_as_documented(folder, device.public_key())
