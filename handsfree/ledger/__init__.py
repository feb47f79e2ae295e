"""The append-only record of a visit, its seals, and the checking of both.

The format is described in FORMAT.md beside this file, completely enough to read a record without this
program. What the rest of the program needs:
"""

from handsfree.ledger.chain import FaultClass
from handsfree.ledger.clock import Clock, Moment, SystemClock
from handsfree.ledger.device import DeviceKey, state_folder
from handsfree.ledger.entry import Entry, members_named
from handsfree.ledger.export import export
from handsfree.ledger.head import Head, given_head
from handsfree.ledger.kinds import CLOCK_JUMPED, CLOSED, OPENED, OWN_MEMBERS, RESUMED, SOUND_REDACTED
from handsfree.ledger.reading import batches, head, read
from handsfree.ledger.report import Anchor, AnchorState, RecordVerdict, VerificationReport, across
from handsfree.ledger.schema import envelope_schema
from handsfree.ledger.store import Ledger
from handsfree.ledger.verification import Difference, Replay, verify

__all__ = [
    "CLOCK_JUMPED",
    "CLOSED",
    "OPENED",
    "OWN_MEMBERS",
    "RESUMED",
    "SOUND_REDACTED",
    "Anchor",
    "AnchorState",
    "Clock",
    "DeviceKey",
    "Difference",
    "Entry",
    "FaultClass",
    "Head",
    "Ledger",
    "Moment",
    "RecordVerdict",
    "Replay",
    "SystemClock",
    "VerificationReport",
    "across",
    "batches",
    "envelope_schema",
    "export",
    "given_head",
    "head",
    "members_named",
    "read",
    "state_folder",
    "verify",
]
