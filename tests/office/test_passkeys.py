"""What anybody may write in a passkey's name: told as what it is, whatever is wrong with it; never a traceback.

The forms are those of W3C Web Authentication, level 2: client data (5.8.1), authenticator data (6.1).
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest
import rfc8785
from webauthn.helpers import bytes_to_base64url

from handsfree.office.endorsements import read_endorsements
from handsfree.office.enrolment import Passkey
from handsfree.office.passkeys import made
from handsfree.office.signatures import Assertion
from handsfree.problem import Problem

VISIT, HOST = "ab" * 32, "localhost"
USER_PRESENT_AND_VERIFIED = b"\x05"
DATA = hashlib.sha256(HOST.encode()).digest() + USER_PRESENT_AND_VERIFIED + bytes(4)


def client(root: bytes) -> bytes:
    said = {"type": "webauthn.get", "challenge": bytes_to_base64url(root), "origin": f"https://{HOST}"}
    return json.dumps(said).encode()


def line(public_key: str, **changes: Any) -> bytes:
    """A sign-off by a passkey with that public key, right but for it."""
    key = hashlib.sha256(bytes.fromhex(public_key)).hexdigest()
    statement = {
        "at": "2026-11-20T12:00:00.000Z",
        "by": {"key": key, "name": "A. Supervisor", "role": "supervisor"},
        "count": 1,
        "digest": "cd" * 32,
        "kind": "signed-off",
        "number": 0,
        "prev": [],
        "remark": "",
        "verdict": "accepted",
        "visit": VISIT,
    }
    root = hashlib.sha256(b"\x00" + rfc8785.dumps(statement)).digest()
    signature = {
        "method": "webauthn",
        "root": root.hex(),
        "index": 0,
        "size": 1,
        "path": [],
        "seal": "00" * 64,
        "authenticator_data": DATA.hex(),
        "client_data": client(root).hex(),
        "public_key": public_key,
        "credential": "0a" * 16,
        "host": HOST,
    }
    return rfc8785.dumps({**statement, "signature": signature | changes})


@pytest.mark.parametrize("public_key", ["80", "f6", "a0", "", "01", "04", "a2010103a0", "83010203"])
def test_a_line_with_a_key_that_is_none_is_told_with_its_number(public_key: str) -> None:
    """The empty array of CBOR (0x80, RFC 8949) as a COSE key ended the verification of the visit: IndexError."""
    found = read_endorsements([line(public_key)], VISIT, None)
    assert len(found.faults) == 1
    assert found.faults[0].startswith("line 1 of endorsements.jsonl does not hold: the passkey")


@pytest.mark.parametrize(
    "changes",
    [
        {"client_data": b"[1]".hex()},
        {"client_data": b"[".hex() * 9000},
        {"client_data": "ff"},
        {"authenticator_data": ""},
        {"authenticator_data": DATA.hex()[:-2]},
        {"authenticator_data": (DATA[:32] + b"\xc5" + DATA[33:]).hex()},
        {"host": None},
        {"credential": 7},
        {"seal": []},
        {"path": 7},
        {"index": "0"},
    ],
)
def test_a_line_with_an_answer_that_is_none_is_told_with_its_number(changes: dict[str, Any]) -> None:
    found = read_endorsements([line("80", **changes)], VISIT, None)
    assert len(found.faults) == 1
    assert found.faults[0].startswith("line 1 of endorsements.jsonl ")


@pytest.mark.parametrize(
    "inner",
    [
        None,
        [],
        "x",
        {},
        {"clientDataJSON": "WzFd", "authenticatorData": "AA", "signature": "AA"},
        {"clientDataJSON": "A", "authenticatorData": "AA", "signature": "AA"},
        {"clientDataJSON": bytes_to_base64url(client(b"x" * 32)), "authenticatorData": "AA", "signature": ""},
    ],
)
def test_an_answer_of_a_passkey_that_is_none_is_a_problem(inner: Any) -> None:
    """A list as client data (WzFd is [1]) was an error of the desk itself."""
    with pytest.raises(Problem, match="passkey"):
        Assertion(Passkey("0a" * 16, "80", HOST), {"response": inner}).seal(b"x" * 32)


@pytest.mark.parametrize(
    "answer", [None, [], {}, {"response": []}, {"id": "AA", "rawId": "AA", "response": {}}, 7]
)
def test_what_is_no_new_passkey_is_a_problem(answer: Any) -> None:
    with pytest.raises(Problem, match="no passkey was made"):
        made(answer, HOST, f"https://{HOST}", b"x" * 32)
