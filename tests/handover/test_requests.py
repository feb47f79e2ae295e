"""Only what an enrolled device signed counts, once: RFC 9421, with the device's own key behind it."""

import base64
import datetime as dt
import json
import shutil
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from breaking_proxies import MeddlingProxy
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from http_message_signatures import HTTPMessageSigner, algorithms
from lists import OFFICE

from handsfree.commands.handing_over import send
from handsfree.handover import signed_requests
from handsfree.handover.credentials import Credential, RequestKey, request_key
from handsfree.handover.office_link import OfficeLink
from handsfree.handover.signed_requests import RequestVerifier, SignedRequest, sign
from handsfree.ledger import DeviceKey
from handsfree.office.enrolling import revoke
from handsfree.office.enrolment import NAME
from handsfree.problem import Problem


@pytest.fixture(scope="module")
def key(tmp_path_factory):
    state = tmp_path_factory.mktemp("key")
    DeviceKey(state, uses=8).public_key()
    return request_key(state)


def signed(key, verifier, *, body=b"abc", now=None):
    request = SignedRequest("PATCH", "/handover/uploads/x?y=1", {"Upload-Offset": "3"})
    sign(request, body, key, verifier.epoch, now or dt.datetime.now(dt.UTC))
    return request


def test_a_signed_request_counts_once(key):
    verifier = RequestVerifier(lambda device: device == key.credential.device)
    request = signed(key, verifier)
    assert verifier.sender(request, b"abc") == key.credential
    with pytest.raises(PermissionError, match="come before"):
        verifier.sender(request, b"abc")


class SlowToLookUp(dict):
    """A table where another thread comes in between looking up and writing down."""

    def __contains__(self, key):
        found = super().__contains__(key)
        time.sleep(0.1)
        return found


def test_a_request_that_comes_to_many_threads_at_once_counts_once(key):
    verifier = RequestVerifier(lambda _: True, _seen=SlowToLookUp())
    request = signed(key, verifier)

    def counts(_):
        try:
            return verifier.sender(request, b"abc") is not None
        except PermissionError:
            return False

    with ThreadPoolExecutor(4) as threads:
        assert sum(threads.map(counts, range(4))) == 1


@pytest.mark.parametrize("covered", ["x-none", "X-None"])
def test_a_signature_over_what_did_not_come_or_has_no_such_name_is_refused(key, covered):
    """RFC 9421, sections 2.5 and 2.1: no signature base can be made; names of fields are in lower case."""
    verifier = RequestVerifier(lambda _: True)
    request = signed(key, verifier)
    name = next(name for name in request.headers if name.lower() == "signature-input")
    request.headers[name] = request.headers[name].replace('"@method"', f'"@method" "{covered}"')
    with pytest.raises(PermissionError, match="does not hold"):
        verifier.sender(request, b"abc")


@pytest.mark.parametrize(
    ("name", "changed"),
    [
        ("method", lambda request: (replace(request, method="DELETE"), b"abc")),
        ("path", lambda request: (replace(request, target="/handover/uploads/z?y=1"), b"abc")),
        ("query", lambda request: (replace(request, target="/handover/uploads/x?y=2"), b"abc")),
        ("body", lambda request: (request, b"abd")),
        ("offset", lambda request: (replace(request, headers={**request.headers, "Upload-Offset": "4"}), b"abc")),
        ("added", lambda request: (replace(request, headers={**request.headers, "Upload-Length": "4"}), b"abc")),
        ("no signature", lambda request: (replace(request, headers={}), b"abc")),
    ],
)
def test_a_request_that_was_changed_does_not(key, name, changed):
    verifier = RequestVerifier(lambda _: True)
    with pytest.raises(PermissionError, match="does not hold"):
        verifier.sender(*changed(signed(key, verifier)))


@pytest.mark.parametrize("minutes", [-6, 6])
def test_nor_does_one_of_another_time(key, minutes):
    verifier = RequestVerifier(lambda _: True)
    with pytest.raises(PermissionError, match="does not hold"):
        verifier.sender(signed(key, verifier, now=dt.datetime.now(dt.UTC) + dt.timedelta(minutes=minutes)), b"abc")


def test_nor_one_for_another_office_or_another_run(key):
    with pytest.raises(PermissionError, match="another run"):
        RequestVerifier(lambda _: True).sender(signed(key, RequestVerifier(lambda _: True)), b"abc")


def test_a_credential_of_another_key_or_altered_does_not_hold(key):
    members = json.loads(base64.urlsafe_b64decode(key.credential.text))
    members["key"] = Ed25519PrivateKey.generate().public_key().public_bytes_raw().hex()
    text = base64.urlsafe_b64encode(json.dumps(members, separators=(",", ":"), sort_keys=True).encode()).decode()
    with pytest.raises(ValueError, match="seal"):
        Credential.of(text)
    thief = RequestKey(Ed25519PrivateKey.generate(), key.credential)
    verifier = RequestVerifier(lambda _: True)
    with pytest.raises(PermissionError, match="does not hold"):
        verifier.sender(signed(thief, verifier), b"abc")


def test_the_nonces_that_are_remembered_are_forgotten_when_their_time_is_over(key, monkeypatch):
    """Else a year's requests would fill the memory."""
    monkeypatch.setattr(signed_requests, "WINDOW_S", -10)
    verifier = RequestVerifier(lambda _: True)
    for number in range(20):
        verifier._must_be_new(f"{verifier.epoch}.{number}")
    assert len(verifier._seen) <= 2


def test_the_key_of_requests_is_made_once_and_anew_with_a_new_device_key(tmp_path):
    device = DeviceKey(tmp_path, uses=8)
    first = request_key(tmp_path)
    assert request_key(tmp_path).credential == first.credential
    assert first.credential.device == device.public_key()
    device.renew()
    assert request_key(tmp_path).credential.device == device.public_key() != first.credential.device


def test_a_signature_is_as_the_standard_has_it(key):
    """RFC 9421, B.2.6, a request signed with Ed25519: our signer's library gives the signature printed there."""
    # The RFC's test-key-ed25519 (B.1.4) and the request of B.2, both as printed there.
    secret = Ed25519PrivateKey.from_private_bytes(
        base64.urlsafe_b64decode("n4Ni-HpISpVObnQMW0wOhCKROaIKqKtW_2ZYb2p9KcU=")
    )
    request = SignedRequest("POST", "/foo?param=Value&Pet=dog", {
        "Date": "Tue, 20 Apr 2021 02:07:55 GMT", "Content-Type": "application/json", "Content-Length": "18",
    })  # fmt: skip
    request = type("Request", (), {"method": "POST", "url": "https://example.com/foo?param=Value&Pet=dog",
                                   "headers": dict(request.headers)})()  # fmt: skip
    resolver = type("Key", (), {"resolve_private_key": lambda self, key_id: secret})()
    HTTPMessageSigner(signature_algorithm=algorithms.ED25519, key_resolver=resolver).sign(
        request, key_id="test-key-ed25519", created=dt.datetime.fromtimestamp(1618884473, dt.UTC), label="sig-b26",
        include_alg=False,
        covered_component_ids=("date", "@method", "@path", "@authority", "content-type", "content-length"),
    )  # fmt: skip
    assert request.headers["Signature"] == (
        "sig-b26=:wqcAqbmYJ2ji2glfAMaRy4gruYYnx2nEFN2HN6jrnDnQCK1u02Gb04v9EDgwUPiu4A0w6vuQv5lIp5WPpBKRCw==:"
    )


def test_a_device_that_is_revoked_while_the_office_runs_is_refused(pair, served):
    sender = pair.sender(served)
    sender.send(pair.visits / "first")
    revoke(pair.office / NAME, OFFICE, key=sender._link.key.credential.device, why="lost")
    with pytest.raises(Problem, match="not enrolled here, or not any more"):
        sender.send(pair.visits / "second")


def test_an_overheard_request_is_refused(pair, served):
    """Whoever recorded the traffic sends all of it again: nothing is taken, nothing changes."""
    with MeddlingProxy(int(served.rsplit(":", 1)[1]), MeddlingProxy.deliver) as proxy:
        pair.sender(f"http://127.0.0.1:{proxy.port}").send(pair.visits / "first")
        overheard = [request for request in proxy.seen if b"GET /handover " not in request]
        answers = [proxy.deliver(request).split(b" ", 2)[1] for request in overheard]
    assert len(answers) > 3
    assert set(answers) == {b"401"}


def test_an_office_elsewhere_is_reached_by_https_alone(pair):
    with pytest.raises(Problem, match="https alone"):
        pair.link("http://office.example:8471")


@pytest.mark.parametrize("address", ["https://[x", "https://office.example:99999", "https://office.example:0"])
def test_an_address_that_cannot_be_one_is_refused_at_once(address):
    with pytest.raises(Problem, match="no address of an office"):
        OfficeLink(address, None)


def test_an_address_that_is_none_is_not_kept(pair, monkeypatch):
    """The next `send` without --to would try it again."""
    monkeypatch.setenv("HANDSFREE_STATE", str(pair.state))
    shutil.copy(pair.office / NAME, pair.state / NAME)
    with pytest.raises(Problem, match="no address of an office"):
        send([], to="https://[x")
    assert not (pair.state / "office" / "address").exists()
    with pytest.raises(Problem, match="knows no office yet"):
        send([])
