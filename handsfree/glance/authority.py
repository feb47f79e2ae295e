"""The certificate authority of this device, for its page alone: a phone that has taken it in trusts nobody more.

It is made once, kept in the device's state folder, and constrained to the device's own names and addresses by the
critical extension nameConstraints (RFC 5280, 4.2.1.10), so that even a thief of its key cannot pose as another
site. Certificates of the page are made for one visit, from a key of their own.
"""

from __future__ import annotations

import datetime as dt
import ipaddress
import re
import socket
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from handsfree.ledger.device import state_folder
from handsfree.ledger.files import Disk, Files, contents, disk_problem, ensure_folder, put
from handsfree.problem import ExitCode, Problem

FILE, LOCK = "phone-authority.pem", "phone-authority.lock"
LIFE = dt.timedelta(days=5 * 365)
SERVER_LIFE = dt.timedelta(days=3)
"""Of a certificate of the page: longer than any visit, far below what phones refuse."""
BACKDATED = dt.timedelta(days=1)
"""For phones whose clock is behind."""
_LOCK_SECONDS = 10.0
_HOST_NAME = re.compile(r"[a-z0-9]([-a-z0-9]{0,61}[a-z0-9])?(\.[a-z0-9]([-a-z0-9]{0,61}[a-z0-9])?)*")


@dataclass(frozen=True)
class ServerIdentity:
    """What the page proves itself with: its certificate and the authority's, and its secret key (PEM)."""

    chain: bytes
    key: bytes


class Authority:
    """The authority as it is kept; get it with `of_device`."""

    def __init__(self, certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey) -> None:
        self._certificate, self._key = certificate, key

    @classmethod
    def of_device(
        cls,
        names: Iterable[str],
        state: Path | None = None,
        *,
        renew: bool = False,
        files: Files | None = None,
    ) -> Authority:
        """Return this device's authority; it is made, for these names and addresses, if there is none.

        With `renew` it is replaced. Raises Problem when the state folder cannot be used, or when the authority
        lies open to others.
        """
        state, files = state or state_folder(), files or Disk()
        path = state / FILE
        try:
            ensure_folder(files, state, 0o700)
            release = files.lock(state / LOCK, _LOCK_SECONDS)
            try:
                if renew or FILE not in files.names(state):
                    put(files, path, _made(names, dt.datetime.now(dt.UTC)), mode=0o600)
                return cls._kept(files, path)
            finally:
                release()
        except TimeoutError as error:
            raise Problem(
                "another program is using the device's certificate", where=str(path), remedy="try again",
                code=ExitCode.FAILED,
            ) from error  # fmt: skip
        except OSError as error:
            raise disk_problem(error, "using the device's certificate", path) from error

    @classmethod
    def _kept(cls, files: Files, path: Path) -> Authority:
        remedy = "make a new one: handsfree phone --renew"
        if files.mode(path) & 0o077:
            raise Problem("others than its owner may read this key", where=str(path), remedy=remedy)
        pem = contents(files, path)
        try:
            key = serialization.load_pem_private_key(pem, None)
            certificate = x509.load_pem_x509_certificate(pem)
        except ValueError as error:
            raise Problem("the device's certificate is damaged", where=str(path), remedy=remedy) from error
        if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
            raise Problem("the device's certificate is not of its key", where=str(path), remedy=remedy)
        return cls(certificate, key)

    @property
    def file(self) -> bytes:
        """The certificate as a phone takes it in (DER)."""
        return self._certificate.public_bytes(serialization.Encoding.DER)

    @property
    def fingerprint(self) -> str:
        """SHA-256 of that file, as phones show it."""
        return self._certificate.fingerprint(hashes.SHA256()).hex(":").upper()

    @property
    def until(self) -> dt.date:
        """The day on which it ends."""
        return self._certificate.not_valid_after_utc.date()

    def covers(self, name: str) -> bool:
        """Say whether it may vouch for a name or an address, today."""
        if dt.datetime.now(dt.UTC) >= self._certificate.not_valid_after_utc - SERVER_LIFE:
            return False
        return any(_within(name, one.value) for one in self._permitted())

    def names(self) -> list[str]:
        """Return the names and addresses that it may vouch for."""
        return [str(one.value).removesuffix("/32").removesuffix("/128") for one in self._permitted()]

    def _permitted(self) -> list[x509.DNSName | x509.IPAddress]:
        constraints = self._certificate.extensions.get_extension_for_class(x509.NameConstraints).value
        return [
            one for one in constraints.permitted_subtrees or () if isinstance(one, x509.DNSName | x509.IPAddress)
        ]

    def identity_for(self, names: Iterable[str]) -> ServerIdentity:
        """Make a new key and its certificate, for those of the names that may be vouched for."""
        key = ec.generate_private_key(ec.SECP256R1())
        now = dt.datetime.now(dt.UTC)
        told = [_general_name(name) for name in dict.fromkeys(names) if self.covers(name)]
        built = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Handsfree page")]))
            .issuer_name(self._certificate.subject)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(max(now - BACKDATED, self._certificate.not_valid_before_utc))
            .not_valid_after(now + SERVER_LIFE)
            .add_extension(x509.SubjectAlternativeName(told), critical=False)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(_usage(signs_content=True), critical=True)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key()), critical=False
            )
            .sign(self._key, hashes.SHA256())
        )
        chain = b"".join(one.public_bytes(serialization.Encoding.PEM) for one in (built, self._certificate))
        return ServerIdentity(chain, _private(key))


def own_names(*shown: str) -> tuple[str, ...]:
    """Return the names and addresses of this device: those it is shown at, its host name, and itself."""
    host = socket.gethostname().lower().removesuffix(".local")
    named = [host, f"{host}.local"] if _HOST_NAME.fullmatch(host) else []
    return tuple(dict.fromkeys([*shown, *named, "localhost", "127.0.0.1"]))


def _made(names: Iterable[str], now: dt.datetime) -> bytes:
    """Return a new authority: its key and its certificate (PEM)."""
    key = ec.generate_private_key(ec.SECP256R1())
    mark = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    title = f"Handsfree device {mark.digest.hex()[:8]}"
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, title)])
    permitted = [_general_name(one, whole=True) for one in dict.fromkeys(names)]
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BACKDATED)
        .not_valid_after(now + LIFE)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_content=False), critical=True)
        .add_extension(x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(mark, critical=False)
        .sign(key, hashes.SHA256())
    )
    return _private(key) + certificate.public_bytes(serialization.Encoding.PEM)


def _usage(*, signs_content: bool) -> x509.KeyUsage:
    """Return what a key may do: the page's signs in a handshake, the authority's signs certificates."""
    return x509.KeyUsage(
        digital_signature=signs_content, key_cert_sign=not signs_content,
        content_commitment=False, key_encipherment=False, data_encipherment=False, key_agreement=False,
        crl_sign=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _private(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _general_name(name: str, *, whole: bool = False) -> x509.GeneralName:
    """Return a name or an address as a certificate has it; `whole` as a constraint has it, with its mask."""
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        return x509.DNSName(name)
    return x509.IPAddress(ipaddress.ip_network(address) if whole else address)


def _within(name: str, permitted: object) -> bool:
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        return name == permitted
    return isinstance(permitted, ipaddress.IPv4Network | ipaddress.IPv6Network) and address in permitted
