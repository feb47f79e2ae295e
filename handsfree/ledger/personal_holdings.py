"""Persons' data beside a record, each piece held to its commitment, and what was erased on whose word."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping

from handsfree.ledger.chain import FaultClass
from handsfree.ledger.diagnosis import RecordFinding
from handsfree.ledger.files import Files
from handsfree.ledger.personal import SALT_BYTES, PersonalDatum
from handsfree.ledger.visit import VisitFolder
from handsfree.photo_file import LARGEST_KEPT, is_kept_form
from handsfree.problem import one_line

_PIECE = 1 << 20
_LONGEST = 40
"""Letters of a role or a kind that are told; those of ours are shorter."""
_PIECES, _SOUNDS = ("piece of personal data", "pieces of personal data"), ("sound", "sounds")


class PersonalHoldings:
    """The pieces of one record; `erased` are commitments and clips -> when, by whom and why, signed by who may."""

    def __init__(self, visit: VisitFolder, files: Files, erased: Mapping[str, str]) -> None:
        self._visit, self._files, self.erased = visit, files, erased
        self.checked: set[str] = set()
        self._gone: dict[str, Counter[tuple[str, str]]] = {}
        """When, by whom and why -> how many pieces and sounds are gone by that."""
        self._salts: dict[bytes, str] = {}
        """Salt -> the piece that has it."""
        self._pieces: set[str] = set()

    def check(self, seq: int, datum: PersonalDatum) -> list[RecordFinding]:
        """Return what is wrong with a piece that an entry commits to, where it was not looked at before."""
        if datum.commitment in self._pieces:
            return []
        self._pieces.add(datum.commitment)
        found, said = self._read(datum.commitment), self.erased.get(datum.commitment)
        if found is None and said is not None:
            self._count(said, _PIECES)
            return []
        self.checked.add("personal data")
        named = one_line(f"the {datum.whose[:_LONGEST]}'s {datum.what[:_LONGEST]}")
        if found is None:
            why = f"{named} is not there, and nobody who may signed that it was erased"
            return [RecordFinding(seq, FaultClass.PERSONAL_MISSING, why)]
        digest, salt, may_be_photo = found
        first = self._salts.setdefault(salt, datum.commitment)
        fault, why = None, ""
        if digest != datum.commitment:
            fault, why = FaultClass.PERSONAL_ALTERED, "is not what was committed to"
        elif first != datum.commitment:
            fault, why = FaultClass.SALT_REPLAYED, "has the salt of something else"
        elif datum.what == "photo" and not may_be_photo:
            fault, why = FaultClass.NO_PHOTO, f"is no JPEG of at most {LARGEST_KEPT} bytes, as a kept photo is"
        if fault is not None:
            return [RecordFinding(seq, fault, f"{named} {why}")]
        return [] if said is None else [_there(seq, named, said)]

    def clip(self, seq: int, name: str, *, there: bool) -> list[RecordFinding]:
        """Return what is wrong with a sound that was erased."""
        if there:
            return [_there(seq, f"its clip {name[:12]}…", self.erased[name])]
        self._count(self.erased[name], _SOUNDS)
        return []

    def told(self) -> list[str]:
        """Return what was erased, in clauses: "2 pieces of personal data and 31 sounds were erased on …"."""
        return [
            f"{_counted(kinds)} {'were' if kinds.total() > 1 else 'was'} erased {said}"
            for said, kinds in self._gone.items()
        ]

    def loose(self) -> list[str]:
        """Return a remark on the files that no entry commits to, where there are any."""
        try:
            others = set(self._files.names(self._visit.personal)) - self._pieces
        except FileNotFoundError:
            return []
        return [f"{len(others)} files in {self._visit.personal.name} are named by no entry"] if others else []

    def _count(self, said: str, kind: tuple[str, str]) -> None:
        self._gone.setdefault(said, Counter())[kind] += 1

    def _read(self, commitment: str) -> tuple[str, bytes, bool] | None:
        """Return the SHA-256 and the salt of a file, and whether it may be a photo; None where there is none."""
        try:
            with self._files.read(self._visit.personal_file(commitment)) as stream:
                salt = stream.read(SALT_BYTES)
                running = hashlib.sha256(salt)
                first = stream.read(_PIECE)
                running.update(first)
                may_be_photo = is_kept_form(first)
                while piece := stream.read(_PIECE):
                    running.update(piece)
                    may_be_photo = False
                return running.hexdigest(), salt, may_be_photo
        except FileNotFoundError:
            return None


def _there(seq: int, named: str, said: str) -> RecordFinding:
    why = f"{named} was erased {said}, and is there: run handsfree erase again"
    return RecordFinding(seq, FaultClass.ERASED_IS_THERE, why)


def _counted(kinds: Counter[tuple[str, str]]) -> str:
    return " and ".join(f"{count} {kind[count > 1]}" for kind, count in kinds.items())
