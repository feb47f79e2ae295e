"""Time stamps by an authority made for the test: OpenSSL's `ts`, which follows RFC 3161 without our code."""

from __future__ import annotations

import datetime as dt
import subprocess
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from small_visits import visit
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.ledger import export
from handsfree.office.timestamps import ROOTS, add_time_stamp, time_stamp_of
from handsfree.office.verification import verify_anchored
from handsfree.problem import Problem

CONFIG = """
[tsa]
default_tsa = here
[here]
serial = serial
crypto_device = builtin
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
ess_cert_id_chain = no
ess_cert_id_alg = sha256
"""


def certified(folder: Path, name: str, issuer: Path | None) -> Path:
    """Make a key and a certificate, its own root or for time stamps alone; return the certificate's file."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = dt.datetime.now(dt.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(days=1))
        .not_valid_after(now + dt.timedelta(days=30))
        .add_extension(x509.BasicConstraints(ca=issuer is None, path_length=None), critical=True)
    )
    signer = key
    if issuer is None:
        made = made.issuer_name(subject)
    else:
        usage = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.TIME_STAMPING])
        above = x509.load_pem_x509_certificate(issuer.read_bytes())
        made = made.issuer_name(above.subject).add_extension(usage, critical=True)
        loaded = serialization.load_pem_private_key(issuer.with_suffix(".key").read_bytes(), None)
        assert isinstance(loaded, ec.EllipticCurvePrivateKey)
        signer = loaded
    file = folder / f"{name}.pem"
    file.write_bytes(made.sign(signer, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))
    pem = (serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    file.with_suffix(".key").write_bytes(key.private_bytes(*pem))
    return file


class Authority:
    """A time-stamp authority on a port of this machine."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.root = certified(folder, "root", None)
        self.signer = certified(folder, "stamper", self.root)
        (folder / "tsa.cnf").write_text(CONFIG)
        (folder / "serial").write_text("01")
        self.answers: bytes | None = None
        """What it answers to anything instead; None: the truth."""
        authority = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                asked = self.rfile.read(int(self.headers["content-length"]))
                answer = authority.answers if authority.answers is not None else authority.stamp(asked)
                self.send_response(200)
                self.end_headers()
                self.wfile.write(answer)

            def log_message(self, *_: object) -> None:
                pass

        self.server = HTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}/"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def stamp(self, asked: bytes) -> bytes:
        (self.folder / "asked.tsq").write_bytes(asked)
        command = ["openssl", "ts", "-reply", "-config", "tsa.cnf", "-section", "here", "-queryfile", "asked.tsq"]
        command += ["-signer", self.signer.name, "-inkey", "stamper.key", "-out", "answer.tsr"]
        subprocess.run(command, cwd=self.folder, check=True, capture_output=True)
        return (self.folder / "answer.tsr").read_bytes()


@pytest.fixture
def authority(tmp_path: Path) -> Iterator[Authority]:
    folder = tmp_path / "authority"
    folder.mkdir()
    made = Authority(folder)
    yield made
    made.server.shutdown()
    made.server.server_close()


@pytest.fixture
def closed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A closed visit."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    visit(tmp_path / "one", tmp_path / "tablet")
    return tmp_path / "one"


def trust(authority: Authority, closed: Path) -> None:
    (closed.parent / "state").mkdir(exist_ok=True)
    (closed.parent / "state" / ROOTS).write_bytes(authority.root.read_bytes())


def told(folder: Path) -> str:
    return next((each for each in verify_anchored(folder, None).remarks if "time stamp" in each), "")


def test_a_stamp_of_a_trusted_authority_shows_when_the_record_existed(authority: Authority, closed: Path) -> None:
    """OpenSSL verifies the very answer that is kept, over the very last line."""
    at = add_time_stamp(closed, authority.url)
    assert "knows no root of" in told(closed)
    trust(authority, closed)
    assert told(closed) == (f"by the time stamp of an authority known here the record existed, as it is, at {at}")
    line = (closed / "ledger.jsonl").read_bytes().rstrip(b"\n").rpartition(b"\n")[2]
    (authority.folder / "line").write_bytes(line)
    command = ["openssl", "ts", "-verify", "-in", closed / "timestamp.tsr", "-data", authority.folder / "line"]
    subprocess.run([*command, "-CAfile", authority.root], check=True, capture_output=True)
    assert verify_anchored(closed, None).whole
    export(closed, closed.parent / "copy", sound=True)
    assert told(closed.parent / "copy") == told(closed)


def test_a_stamp_of_another_state_another_authority_or_no_authority_does_not_hold(
    authority: Authority, closed: Path, tmp_path: Path
) -> None:
    add_time_stamp(closed, authority.url)
    strangers = tmp_path / "strangers"
    strangers.mkdir()
    (tmp_path / "state").mkdir(exist_ok=True)
    (tmp_path / "state" / ROOTS).write_bytes(certified(strangers, "root", None).read_bytes())
    assert "does not hold: no root known here vouches for it" in told(closed)
    trust(authority, closed)
    visit(tmp_path / "two", tmp_path / "tablet")
    (tmp_path / "two" / "timestamp.tsr").write_bytes((closed / "timestamp.tsr").read_bytes())
    assert "about another state of the record" in told(tmp_path / "two")
    (closed / "timestamp.tsr").write_bytes(b"\0" * 50)
    assert "cannot be read" in told(closed)


def test_a_record_that_is_dated_after_its_stamp_shows(authority: Authority, closed: Path) -> None:
    """The stamp's time comes from outside: a device that dates its entries later has a wrong clock, or lies."""
    add_time_stamp(closed, authority.url)
    digest = verify_anchored(closed, None).head
    assert digest is not None
    found = time_stamp_of(closed, digest.digest, "2099-01-01T00:00:00.000Z")
    assert found is not None
    assert "which is after the stamp" in found.fault


def test_a_server_that_is_away_or_answers_something_else_changes_nothing(
    authority: Authority, closed: Path
) -> None:
    visit(closed.parent / "two", closed.parent / "tablet")
    add_time_stamp(closed.parent / "two", authority.url)
    for answers, says in (
        (b"no answer", "cannot be read"),
        ((closed.parent / "two" / "timestamp.tsr").read_bytes(), "is about something else"),
    ):
        authority.answers = answers
        with pytest.raises(Problem, match=says):
            add_time_stamp(closed, authority.url)
    for address, says in (("http://127.0.0.1:1/", "cannot be reached"), ("file:///etc/passwd", "http or https")):
        with pytest.raises(Problem, match=says):
            add_time_stamp(closed, address)
    assert not (closed / "timestamp.tsr").exists()


def test_the_command_stamps_closed_records_and_says_when(authority: Authority, closed: Path) -> None:
    result = CliRunner().invoke(app, ["log", "stamp", str(closed), "--server", authority.url])
    assert result.exit_code == 0, result.output
    assert ": stamped 20" in result.output
    assert (closed / "timestamp.tsr").is_file()


def test_an_answer_without_a_stamp_is_a_fault_and_no_traceback(tmp_path):
    """Five bytes that a decoder takes: an answer that granted nothing."""
    (tmp_path / "timestamp.tsr").write_bytes(bytes.fromhex("30053003020102"))
    found = time_stamp_of(tmp_path, "00", "2026-01-01T00:00:00.000Z")
    assert found is not None
    assert "cannot be read" in found.fault


def test_an_address_that_is_none_is_refused(tmp_path):
    with pytest.raises(Problem, match="http or https"):
        add_time_stamp(tmp_path, "http://[::1/")
