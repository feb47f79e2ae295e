"""What a power cut may leave at the end of a record, and what only a hand can."""

from __future__ import annotations

import pytest
from attacks import LEDGER, changed, lines_of, resealed, stolen_secret
from faulty_disk import FaultyDisk
from visits import VISIT, ToldClock, begin, recorded

from handsfree.ledger import CLOSED, FaultClass, RecordVerdict, verify
from handsfree.ledger.ratchet import Secret

OPEN = recorded(7, closed=False)
DATA = OPEN.bytes_of(LEDGER)
SECTOR = 512


def with_tail(tail: bytes) -> tuple[RecordVerdict, FaultClass | None]:
    disk = OPEN.copy()
    disk.put(LEDGER, DATA + tail)
    report = verify(VISIT, files=disk)
    return report.verdict, report.fault


HONEST = {
    "a beginning": b'{"at":"2026-12-23T0',
    "one byte": b"{",
    "a text cut inside a character": '{"at":"2026","boot":"é'.encode()[:-1],
    "an escaped quote": b'{"at":"2026","event":{"words":"a\\"}b\\\\',
    "zeros to the end of a sector": b"\0" * (SECTOR - len(DATA) % SECTOR),
    "zeros to the end of the file": b"\0" * 3,
    "an empty sector before a written one": b"\0" * (2 * SECTOR - len(DATA) % SECTOR) + b'x","to_come":0}\n',
}
BY_HAND = {
    "an empty line": b"\n",
    "a letter": b"x",
    "another object": b'{"seq":7',
    "a whole object of another kind": b"{}",
    "something after the object": b'{"at":"2026"}x',
    "a control character": b'{"at":"2026\x07',
    "bytes that are no text": b'{"at":"2026\xff',
    "bytes that are no text in the middle": b'{"at":"\xff2026',
    "a zero that does not fill a sector": b'{"at":"20\x0026',
    "an empty sector before more than one batch": b"\0" * (SECTOR - len(DATA) % SECTOR)
    + b'x","to_come":0}\ny","to_come":0}\n',
}


@pytest.mark.parametrize("what", HONEST)
def test_what_a_power_cut_leaves_is_no_tampering(what: str) -> None:
    """A beginning of the next entry, or sectors that were never written."""
    assert with_tail(HONEST[what]) == (RecordVerdict.OPEN, FaultClass.NOT_CLOSED)


@pytest.mark.parametrize("what", BY_HAND)
def test_what_no_power_cut_leaves_is_called_a_change(what: str) -> None:
    """Anything else at the end was put there."""
    assert with_tail(BY_HAND[what]) == (RecordVerdict.BROKEN, FaultClass.CHANGED)


def test_a_whole_entry_without_its_line_feed_must_be_genuine() -> None:
    """Cut just before the line feed the entry is whole: it counts as torn if its seal fits, else as changed."""
    lines = lines_of(recorded(7))
    for last, fault in (
        (lines[-1], FaultClass.NOT_CLOSED),
        (lines[-1].replace(b"finished", b"tampered"), FaultClass.CHANGED),
    ):
        disk = OPEN.copy()
        disk.put(LEDGER, b"".join(line + b"\n" for line in lines[:-1]) + last)
        assert verify(VISIT, files=disk).fault == fault


def forged(change: dict[str, object], at: int = 3) -> tuple[RecordVerdict, FaultClass | None, int | None]:
    """Let the holder of the key of an entry change it and seal it and all that follows again."""
    disk, secret = FaultyDisk(), None
    ledger = begin(disk, ToldClock())
    for number in range(1, 6):
        if number == at:
            secret = stolen_secret(disk)
        ledger.append([("heard", {"number": number})])
    ledger.append([(CLOSED, {})])
    assert isinstance(secret, Secret)
    lines = lines_of(disk)
    lines[at] = changed(lines[at], lambda members: members.update(change))
    disk.put(LEDGER, b"".join(line + b"\n" for line in resealed(lines, at, secret)))
    report = verify(VISIT, files=disk)
    return report.verdict, report.fault, report.first_bad


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"at": "2026-12-24T00:00:00.000Z"}, FaultClass.RE_DATED),
        ({"mono": 0}, FaultClass.RE_DATED),
        ({"kind": "visit-opened"}, FaultClass.CHANGED),
        ({"kind": "clock-jumped"}, FaultClass.CHANGED),
        ({"kind": "visit-resumed", "event": {"utc_offset": 0, "set_aside": [{}]}}, FaultClass.CHANGED),
        ({"kind": CLOSED}, FaultClass.ADDED),
        ({"kind": CLOSED, "to_come": 1}, FaultClass.CHANGED),
        ({"to_come": 2}, FaultClass.CHANGED),
    ],
)
def test_even_with_the_key_of_an_entry_some_changes_cannot_be(
    change: dict[str, object], fault: FaultClass
) -> None:
    """A thief in mid-visit is still bound to the clocks, the batches, the close and the ledger's own events."""
    verdict, found, first_bad = forged(change)
    assert (verdict, found) == (RecordVerdict.BROKEN, fault)
    assert first_bad in {3, 4}
