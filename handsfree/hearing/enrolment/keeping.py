"""Enrolments as this device keeps them: encrypted beside its other secrets, one file each, never sent anywhere.

A file of `voices/` in the state folder is sealed by AES-256-GCM (NIST SP 800-38D) with a key of this device that
lies beside it, so a copy of the file alone tells nothing. It holds who, for which microphone and which speech
model, and the mel energies of the words: not the sound. The key goes with the last enrolment.
"""

from __future__ import annotations

import base64
import json
import secrets
import unicodedata
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from handsfree.hearing.enrolment.likeness import BANDS
from handsfree.hearing.enrolment.voice import EnrolledVoice, EnrolledWord
from handsfree.ledger.files import Disk, contents, disk_problem, ensure_folder, put
from handsfree.ledger.slots import Slots
from handsfree.problem import ExitCode, Problem

VERSION: Final = 1
"""Of the form of the file and of what is compared; another is not used."""
_FOLDER: Final = "voices"
_KEY: Final = "voices.key"
_ENDING: Final = ".voice"
_NONCE: Final = 12
_STEPS_IN_DB: Final = 1.8
"""So many steps of a byte to a decibel: no energy of 16-bit sound reaches 141 dB."""


@dataclass(frozen=True, eq=False)
class KeptVoice:
    """Who read the words, into which microphone, for which speech model, on which day, and how they sounded."""

    person: str
    microphone: str
    model: str
    day: str
    said: tuple[EnrolledWord, ...]

    def of(self, person: str) -> bool:
        """Say whether it is this person's: names are compared whatever their case."""
        return alike(self.person, person)


def alike(name: str, other: str) -> bool:
    """Say whether two names are the same, whatever their case, composed letters and outer spaces."""
    one, two = (unicodedata.normalize("NFC", each).strip().casefold() for each in (name, other))
    return one == two


class Voices:
    """The enrolments on this device. Every method raises Problem when the state folder cannot be used."""

    def __init__(self, state: Path) -> None:
        self._state, self._folder, self._disk = state, state / _FOLDER, Disk()

    def kept(self) -> tuple[KeptVoice, ...]:
        """Return every enrolment that can be read here."""
        return tuple(one for _, one in self._read())

    def keep(self, enrolment: KeptVoice) -> None:
        """Keep an enrolment in the place of what the same person read into the same microphone before."""
        before = [
            file
            for file, one in self._read()
            if one.of(enrolment.person) and one.microphone == enrolment.microphone
        ]
        try:
            ensure_folder(self._disk, self._folder, 0o700)
            name, nonce = f"{secrets.token_hex(8)}{_ENDING}", secrets.token_bytes(_NONCE)
            sealed = nonce + AESGCM(self._secret()).encrypt(nonce, _written(enrolment), name.encode())
            put(self._disk, self._folder / name, sealed, mode=0o600)
            self._remove(before)
        except OSError as error:
            raise disk_problem(error, "keeping an enrolment", self._folder) from error

    def forget(self, person: str) -> int:
        """Delete what a person has enrolled; return how many there were."""
        gone = [file for file, one in self._read() if one.of(person)]
        try:
            self._remove(gone)
            if gone and not self._files():
                self._disk.unlink(self._state / _KEY)
        except OSError as error:
            raise disk_problem(error, "deleting an enrolment", self._folder) from error
        return len(gone)

    def fitting(
        self, person: str, microphone: str, model: str, forbidden: frozenset[str] = frozenset()
    ) -> tuple[EnrolledVoice | None, str]:
        """Return the voice of a person for a microphone and a model; None, and why not in one sentence.

        The reason is empty where the person never enrolled here. `forbidden` are words that are never weighed.
        """
        own = [one for one in self.kept() if one.of(person)]
        fit = next((one for one in own if (one.microphone, one.model) == (microphone, model)), None)
        if fit is not None:
            return EnrolledVoice(fit.said, forbidden), ""
        if not own:
            return None, ""
        changed = (
            "the speech model is another" if own[-1].microphone == microphone else "the microphone is another"
        )
        return None, f"Your enrolment of {own[-1].day} is not used, since {changed}: read it again, or forget it."

    def _files(self) -> list[Path]:
        if _FOLDER not in self._disk.names(self._state):
            return []
        return [self._folder / name for name in sorted(self._disk.names(self._folder)) if name.endswith(_ENDING)]

    def _read(self) -> Iterator[tuple[Path, KeptVoice]]:
        """Yield each file with what it holds, but for one that another version wrote, or that is damaged."""
        try:
            files = self._files() if self._state.is_dir() else []
            secret = self._secret() if files else b""
            for file in files:
                sealed = contents(self._disk, file)
                try:
                    plain = AESGCM(secret).decrypt(sealed[:_NONCE], sealed[_NONCE:], file.name.encode())
                except (InvalidTag, ValueError):
                    continue
                found = _read_back(plain)
                if found is not None:
                    yield file, found
        except OSError as error:
            raise disk_problem(error, "reading enrolments", self._folder) from error

    def _remove(self, files: list[Path]) -> None:
        for file in files:
            self._disk.unlink(file)
        if files:
            self._disk.fsync_folder(self._folder)

    def _secret(self) -> bytes:
        """Return this device's key for enrolments, 32 bytes; made on first use, readable by its owner only."""
        slots = Slots(self._disk, self._state / _KEY)
        try:
            return bytes.fromhex(slots.read()["secret"])
        except FileNotFoundError:
            secret = AESGCM.generate_key(256)
            slots.create({"turn": 0, "secret": secret.hex()})
            return secret
        except (KeyError, TypeError, ValueError) as error:
            raise Problem(
                "the key of the enrolments is damaged", where=str(self._state / _KEY),
                remedy="remove this file and read the enrolment again", code=ExitCode.FAILED,
            ) from error  # fmt: skip


def _written(enrolment: KeptVoice) -> bytes:
    members = {
        "version": VERSION,
        "person": enrolment.person,
        "microphone": enrolment.microphone,
        "model": enrolment.model,
        "day": enrolment.day,
        "said": [[one.word, base64.b64encode(_as_bytes(one)).decode()] for one in enrolment.said],
    }
    return zlib.compress(json.dumps(members).encode())


def _as_bytes(one: EnrolledWord) -> bytes:
    decibels = 10 * np.log10(np.asarray(one.energies, np.float64) + 1)
    return np.clip(np.rint(decibels * _STEPS_IN_DB), 0, 255).astype(np.uint8).tobytes()


def _read_back(plain: bytes) -> KeptVoice | None:
    """Return what was written; None where another version did."""
    members: dict[str, Any] = json.loads(zlib.decompress(plain))
    if members.get("version") != VERSION:
        return None
    said = tuple(EnrolledWord(word, _energies(base64.b64decode(text))) for word, text in members["said"])
    return KeptVoice(members["person"], members["microphone"], members["model"], members["day"], said)


def _energies(data: bytes) -> np.ndarray[Any, np.dtype[np.float32]]:
    decibels = np.frombuffer(data, np.uint8).reshape(-1, BANDS) / _STEPS_IN_DB
    return np.asarray(10 ** (decibels / 10) - 1, np.float32)
