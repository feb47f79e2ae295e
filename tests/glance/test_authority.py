"""The device's certificate authority, judged by OpenSSL: it can vouch for this device, and for nobody else."""

from __future__ import annotations

import contextlib
import datetime as dt
import ipaddress
import socket
import ssl
import subprocess
import threading
import time
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.x509.oid import NameOID

from handsfree.doorway import MOST_KNOCKING, tls_context
from handsfree.glance.authority import FILE, Authority, own_names
from handsfree.problem import Problem
from handsfree.serving import Server, ServingLimits, listen

NAMES = ("192.0.2.7", "closet.example", "localhost", "127.0.0.1")


def pem(authority: Authority, into: Path) -> Path:
    der = into / "authority.der"
    der.write_bytes(authority.file)
    subprocess.run(["openssl", "x509", "-inform", "der", "-in", der, "-out", into / "authority.pem"], check=True)
    return into / "authority.pem"


def verified(authority: Authority, leaf: bytes, into: Path, *options: str) -> str:
    """Return what OpenSSL says of a certificate under the authority alone."""
    (into / "leaf.pem").write_bytes(leaf)
    command = [
        "openssl",
        "verify",
        "-x509_strict",
        "-purpose",
        "sslserver",
        "-CAfile",
        pem(authority, into),
        *options,
    ]
    told = subprocess.run([*command, into / "leaf.pem"], capture_output=True, text=True, check=False)
    return told.stdout + told.stderr


def stolen(authority: Authority, name: x509.GeneralName) -> bytes:
    """Return what a thief of the key would make: a certificate for another name, right in all else."""
    key = authority._key
    now = dt.datetime.now(dt.UTC)
    built = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "another")]))
        .issuer_name(authority._certificate.subject)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now)
        .not_valid_after(now + dt.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([name]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    return built.public_bytes(serialization.Encoding.PEM)


def test_openssl_takes_the_page_and_refuses_foreign_names(tmp_path: Path) -> None:
    """RFC 5280, 4.2.1.10: a critical constraint on names and on addresses, held by a verifier that is not ours."""
    authority = Authority.of_device(NAMES, tmp_path / "state")
    chain = authority.identity_for(NAMES).chain
    for options in (
        ["-verify_ip", "192.0.2.7"],
        ["-verify_hostname", "closet.example"],
        ["-verify_ip", "127.0.0.1"],
    ):
        assert verified(authority, chain, tmp_path, *options).endswith("leaf.pem: OK\n")
    assert "IP address mismatch" in verified(authority, chain, tmp_path, "-verify_ip", "192.0.2.8")
    foreign = [x509.DNSName("bank.example"), x509.DNSName("xcloset.example")]
    foreign += [x509.IPAddress(ipaddress.ip_address(one)) for one in ("192.0.2.8", "2001:db8::1")]
    for name in foreign:
        assert "permitted subtree violation" in verified(authority, stolen(authority, name), tmp_path), name
    assert "OK" in verified(authority, stolen(authority, x509.DNSName("localhost")), tmp_path)


def test_openssl_reads_the_constraint_as_critical(tmp_path: Path) -> None:
    """So that a phone which does not know it refuses the whole; no authority can stand below it."""
    certificate = pem(Authority.of_device(NAMES, tmp_path / "state"), tmp_path)
    text = subprocess.check_output(["openssl", "x509", "-in", certificate, "-noout", "-text"], text=True)
    assert "X509v3 Name Constraints: critical" in text
    assert "CA:TRUE, pathlen:0" in text
    assert "TLS Web Server Authentication" in text
    told = subprocess.check_output(
        ["openssl", "x509", "-in", certificate, "-noout", "-fingerprint", "-sha256"], text=True
    )
    assert told.strip().partition("=")[2] == Authority.of_device(NAMES, tmp_path / "state").fingerprint


def test_it_is_made_once_and_lies_open_to_nobody(tmp_path: Path) -> None:
    """Made again only when asked for; one that others could read is not used."""
    first = Authority.of_device(NAMES, tmp_path)
    assert Authority.of_device(["other.example"], tmp_path).fingerprint == first.fingerprint
    assert not first.covers("other.example")
    assert (tmp_path / FILE).stat().st_mode & 0o777 == 0o600
    new = Authority.of_device(["other.example"], tmp_path, renew=True)
    assert new.fingerprint != first.fingerprint
    assert new.covers("other.example")
    (tmp_path / FILE).chmod(0o644)
    with pytest.raises(Problem, match="others than its owner"):
        Authority.of_device(NAMES, tmp_path)
    (tmp_path / FILE).chmod(0o600)
    (tmp_path / FILE).write_text("nonsense")
    with pytest.raises(Problem, match=r"damaged.*|.*handsfree phone --renew"):
        Authority.of_device(NAMES, tmp_path)


def test_a_certificate_of_the_page_lives_for_days(tmp_path: Path) -> None:
    """From a key of its own, which never is the authority's."""
    authority = Authority.of_device(NAMES, tmp_path)
    identity = authority.identity_for(own_names("192.0.2.7"))
    leaf = x509.load_pem_x509_certificate(identity.chain)
    assert leaf.not_valid_after_utc - dt.datetime.now(dt.UTC) <= dt.timedelta(days=3)
    assert leaf.public_key() != authority._key.public_key()
    names = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(one.value) for one in names] == ["192.0.2.7", "localhost", "127.0.0.1"]


async def _hello(scope, receive, send) -> None:  # type: ignore[no-untyped-def]
    assert scope["type"] == "http"
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": scope["scheme"].encode()})


def test_one_port_speaks_both_and_lets_nobody_stand_in_the_door(tmp_path: Path) -> None:
    """Old TLS is refused; silent visitors and half handshakes have a deadline and keep nobody out."""
    authority = Authority.of_device(NAMES, tmp_path)
    identity = authority.identity_for(NAMES)
    listener = listen("127.0.0.1", 0)
    port = listener.getsockname()[1]
    trusting = ssl.create_default_context(cadata=authority.file)

    def asked(context: ssl.SSLContext | None) -> bytes:
        line = socket.create_connection(("127.0.0.1", port), timeout=10)
        line = context.wrap_socket(line, server_hostname="127.0.0.1") if context else line
        with line:
            line.sendall(b"GET / HTTP/1.0\r\n\r\n")
            answer = b""
            while piece := line.recv(1000):
                answer += piece
        return answer.partition(b"\r\n\r\n")[2]

    limits = ServingLimits(request_s=1.0)
    with Server(listener, limits, tls_context(identity.chain, identity.key)) as server:
        server.start(_hello)
        assert asked(None) == b"http"
        assert asked(trusting) == b"https"
        old = ssl.create_default_context(cadata=authority.file)
        with pytest.warns(DeprecationWarning, match="TLSv1_1"):
            old.maximum_version = ssl.TLSVersion.TLSv1_1
        with pytest.raises((ssl.SSLError, OSError)):
            asked(old)
        with pytest.raises(ssl.SSLCertVerificationError):
            asked(ssl.create_default_context())
        crowd = [socket.create_connection(("127.0.0.1", port), 10) for _ in range(3 * MOST_KNOCKING)]
        for one in crowd[::2]:
            one.sendall(b"\x16\x03\x01")
        assert asked(trusting) == b"https"
        time.sleep(1.5)
        for one in crowd:
            one.settimeout(2)
            with contextlib.suppress(ConnectionResetError):
                assert one.recv(1) == b""
            one.close()
        assert threading.active_count() < 10
