"""Time stamps by somebody else (RFC 3161): a record existed, as it is, at a time that no device could set.

What is stamped is the digest of the record's last line, which seals all before it. The answer of the authority
lies beside the record as `timestamp.tsr`, as it came. It holds only under a root certificate that this machine
trusts for it: one in `timestamp-roots.pem` of the state folder. Whether an authority was revoked is not looked up.
"""

from __future__ import annotations

import hashlib
import http.client
import urllib.request
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from cryptography import x509
from rfc3161_client import (
    HashAlgorithm,
    PKIStatus,
    TimestampRequestBuilder,
    TimeStampResponse,
    VerificationError,
    VerifierBuilder,
    decode_timestamp_response,
)

from handsfree.ledger import state_folder
from handsfree.ledger.chain import LONGEST_LINE
from handsfree.ledger.clock import milliseconds, stamp
from handsfree.ledger.files import Disk, disk_problem, put
from handsfree.ledger.verification import CLOCKS_DIFFER_BY
from handsfree.ledger.visit import VisitFolder
from handsfree.problem import Problem
from handsfree.regular_files import open_regular

ROOTS = "timestamp-roots.pem"
PATIENCE_S = 15.0
LARGEST_ANSWER = 1 << 18


@dataclass(frozen=True)
class TimeStampFound:
    """The time stamp beside a record: the time it gives, and why it does not hold (empty when it does)."""

    at: str
    fault: str = ""
    trusted: bool = False

    @property
    def sentence(self) -> str:
        """What it shows, in a sentence for a person."""
        if self.fault:
            return f"the time stamp beside the record does not hold: {self.fault}"
        if not self.trusted:
            return f"a time stamp of {self.at} is there, by an authority that this machine knows no root of"
        return f"by the time stamp of an authority known here the record existed, as it is, at {self.at}"


def add_time_stamp(folder: Path, server: str, *, patience_s: float = PATIENCE_S) -> str:
    """Ask a time-stamp authority for a stamp of a record's last line, keep it, and return its time.

    Raises Problem when the address is none, the authority cannot be reached or refuses, its answer is not about
    this record, or it cannot be written. The record itself is never touched.
    """
    try:
        scheme = urlsplit(server).scheme
    except ValueError:
        scheme = ""
    if scheme not in {"http", "https"}:
        raise Problem("a time-stamp authority has an http or https address", where=server)
    line = _last_line(folder)
    asked = TimestampRequestBuilder().data(line).hash_algorithm(HashAlgorithm.SHA256).build()
    request = urllib.request.Request(  # noqa: S310 - the scheme was looked at
        server, asked.as_bytes(), {"content-type": "application/timestamp-query"}
    )
    try:
        with urllib.request.urlopen(request, timeout=patience_s) as answer:  # noqa: S310 - see above
            data = answer.read(LARGEST_ANSWER + 1)
        response = decode_timestamp_response(data)
        if PKIStatus(response.status) not in {PKIStatus.GRANTED, PKIStatus.GRANTED_WITH_MODS}:
            raise Problem(f"the time-stamp authority refused ({response.status})", where=server)
        if _imprint(response) != _digest(line) or response.tst_info.nonce != asked.nonce:
            raise Problem("the time-stamp authority's answer is about something else", where=server)
    except (OSError, http.client.HTTPException) as error:
        raise Problem(f"the time-stamp authority cannot be reached ({error})", where=server) from error
    except ValueError as error:
        raise Problem("the time-stamp authority's answer cannot be read", where=server) from error
    path = VisitFolder(folder).timestamp
    try:
        put(Disk(), path, data)
    except OSError as error:
        raise disk_problem(error, "keeping the time stamp", path) from error
    return _time(response)


def time_stamp_of(folder: Path, digest: str, last_at: str, roots: Path | None = None) -> TimeStampFound | None:
    """Return what the time stamp beside a record shows of its head; None when there is none.

    `digest` is that of the last line, `last_at` the time that the device wrote there.
    """
    try:
        with open_regular(VisitFolder(folder).timestamp) as stream:
            response = decode_timestamp_response(stream.read(LARGEST_ANSWER))
        at, about = _time(response), _imprint(response).hex()  # an answer may hold no stamp at all
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        return TimeStampFound("", f"it cannot be read ({type(error).__name__})")
    if about != digest:
        return TimeStampFound(at, "it is about another state of the record")
    if milliseconds(last_at) > milliseconds(at) + CLOCKS_DIFFER_BY:
        return TimeStampFound(at, f"the device dated its last entry {last_at}, which is after the stamp of {at}")
    known = _roots(roots or state_folder() / ROOTS)
    return _vouched(response, digest, known) if known else TimeStampFound(at)


def _vouched(response: TimeStampResponse, digest: str, roots: tuple[x509.Certificate, ...]) -> TimeStampFound:
    """Return the stamp as one of the roots vouches for it, or why none does."""
    try:
        VerifierBuilder(roots=list(roots)).build().verify(response, bytes.fromhex(digest))
    except (VerificationError, ValueError) as error:
        why = str(error).splitlines()[0] if str(error) else type(error).__name__
        return TimeStampFound(_time(response), f"no root known here vouches for it ({why})")
    return TimeStampFound(_time(response), trusted=True)


def _imprint(response: TimeStampResponse) -> bytes:
    return bytes(response.tst_info.message_imprint.message)


def _time(response: TimeStampResponse) -> str:
    return stamp(round(response.tst_info.gen_time.timestamp() * 1000))


def _digest(line: bytes) -> bytes:
    return hashlib.sha256(line).digest()


def _last_line(folder: Path) -> bytes:
    path = VisitFolder(folder).ledger
    try:
        with open_regular(path) as stream:
            stream.seek(0, 2)
            stream.seek(max(0, stream.tell() - LONGEST_LINE))
            return stream.read(LONGEST_LINE).rstrip(b"\n").rpartition(b"\n")[2]
    except OSError as error:
        raise Problem("there is no record here to be stamped", where=str(folder)) from error


def _roots(path: Path) -> tuple[x509.Certificate, ...]:
    try:
        return tuple(x509.load_pem_x509_certificates(path.read_bytes()))
    except FileNotFoundError:
        return ()
    except (OSError, ValueError) as error:
        raise Problem("the root certificates for time stamps cannot be read", where=str(path)) from error
