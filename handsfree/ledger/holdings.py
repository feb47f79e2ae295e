"""The files beside the record: clips, sources, torn ends; each is held to the digest that an entry names."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from handsfree.ledger.chain import FaultClass
from handsfree.ledger.diagnosis import RecordFinding
from handsfree.ledger.entry import Entry, members_named
from handsfree.ledger.files import Files
from handsfree.ledger.kinds import OPENED, RESUMED, is_digest
from handsfree.ledger.manifest import ExportManifest, read_manifest
from handsfree.ledger.personal import data_in
from handsfree.ledger.personal_holdings import PersonalHoldings
from handsfree.ledger.redaction import Redactions
from handsfree.ledger.visit import VisitFolder, is_plain_name
from handsfree.problem import one_line

_PIECE = 1 << 20


class Holdings:
    """What lies beside one record, checked while its entries go by."""

    def __init__(
        self, visit: VisitFolder, files: Files, redacted: Mapping[str, str], erased: Mapping[str, str]
    ) -> None:
        self._visit, self._files, self._redacted = visit, files, redacted
        self._redactions = Redactions()
        self._manifest: ExportManifest | None = None
        self.reduced: list[str] = []
        """Why sound is not there, in clauses, where somebody says so under a seal or a signature."""
        self.sealers: dict[str, str] = {}
        """What a device sealed beside the record -> the key of that device."""
        self._persons = PersonalHoldings(visit, files, erased)
        self._clips: set[str] = set()
        self._checked: set[str] = set()
        self._left_out = 0
        self._remarks: list[str] = []

    def check(self, entry: Entry) -> list[RecordFinding]:
        """Return what is wrong with the files that an entry names."""
        findings = []
        if entry.kind == OPENED:
            self._redactions = Redactions.read(self._visit, self._files, entry.digest)
            self._manifest = read_manifest(self._visit, self._files, entry.digest)
            for name, digest in entry.event["sources"].items():
                findings += self._source(name, digest)
        if entry.kind == RESUMED:
            self._set_aside(entry)
        for name in members_named(entry.event, "sound") if b'"sound":' in entry.line else ():
            if is_digest(name) and name not in self._clips:
                self._clips.add(name)
                erased = name in self._persons.erased
                findings += (self._erased_clip if erased else self._clip)(entry.seq, name)
        for datum in data_in(entry.event) if b'"commitment":' in entry.line else ():
            findings += self._persons.check(entry.seq, datum)
        return findings

    @property
    def erased(self) -> list[str]:
        """What persons had erased, in clauses."""
        return self._persons.told()

    def checks(self) -> list[str]:
        """Return the names of the checks that were made on at least one file."""
        return sorted({*self._checked, *self._persons.checked})

    def remarks(self) -> list[str]:
        """Return what is worth saying and is no fault; call it when all entries have gone by."""
        remarks = [*self._remarks, *self._redactions.remarks]
        if self._left_out and self._manifest:
            remarks.append(f"this copy was exported without sound: {self._left_out} clips were left out")
            self.reduced.append(f"{self._left_out} clips were left out of this copy")
            self.sealers["the list of what was left out"] = self._manifest.device
        if foreign := sorted(set(self._files.names(self._visit.folder)) - self._visit.own_names()):
            remarks.append(f"these are no part of the record: {', '.join(map(one_line, foreign))}")
        if loose := len(set(self._names(self._visit.sound)) - {f"{name}.flac" for name in self._clips}):
            remarks.append(f"{loose} files in {self._visit.sound.name} are named by no entry")
        remarks += self._persons.loose()
        return remarks

    def _source(self, name: str, digest: Any) -> list[RecordFinding]:
        self._checked.add("sources")
        found = self._digest(self._visit.sources, name)
        if found is None:
            return [
                RecordFinding(0, FaultClass.SOURCE_MISSING, f"{name} is missing from {self._visit.sources.name}")
            ]
        if found != digest:
            return [RecordFinding(0, FaultClass.SOURCE_ALTERED, f"{name} is not the file that the visit ran on")]
        return []

    def _erased_clip(self, seq: int, name: str) -> list[RecordFinding]:
        return self._persons.clip(seq, name, there=self._digest(self._visit.sound, f"{name}.flac") is not None)

    def _clip(self, seq: int, name: str) -> list[RecordFinding]:
        found = self._digest(self._visit.sound, f"{name}.flac")
        redaction = self._redactions.valid.get(name)
        said = redaction.said() if redaction else self._redacted.get(name)
        if found is None and said is not None:
            self._remarks.append(f"the sound of entry {seq} was redacted by {said}")
            self.reduced.append(f"the sound of entry {seq} was redacted by {said}")
            if redaction:
                self.sealers[f"the redaction of entry {seq}"] = redaction.device.key
            return []
        if found is None and name in self._redactions.forged:
            why = f"its clip is gone and {self._redactions.forged[name]}"
            return [RecordFinding(seq, FaultClass.REDACTION_FORGED, why)]
        if found is None and self._manifest and name in self._manifest.left_out:
            self._left_out += 1
            return []
        self._checked.add("sounds")
        if found is None:
            fault = self._manifest.fault if self._manifest else ""
            why = f"its clip {name[:12]}… is not there, and {fault or 'no redaction says why'}"
            return [RecordFinding(seq, FaultClass.SOUND_MISSING, why)]
        if said is not None:
            self._remarks.append(f"the sound of entry {seq} is still there, though redacted by {said}")
        if found != name:
            why = f"its clip {name[:12]}… has other contents than were recorded"
            return [RecordFinding(seq, FaultClass.SOUND_ALTERED, why)]
        return []

    def _set_aside(self, entry: Entry) -> None:
        for aside in entry.event["set_aside"]:
            found = self._digest(self._visit.set_aside, aside["file"])
            said = {None: "is gone", aside["sha256"]: "was set aside"}.get(found, "was altered afterwards")
            self._remarks.append(f"an unfinished write of {aside['bytes']} bytes before entry {entry.seq} {said}")

    def _digest(self, folder: Path, name: Any) -> str | None:
        """Return the SHA-256 of a file, or None when there is none or the name leads elsewhere."""
        if not is_plain_name(name):
            return None
        try:
            with self._files.read(folder / name) as stream:
                running = hashlib.sha256()
                while piece := stream.read(_PIECE):
                    running.update(piece)
                return running.hexdigest()
        except FileNotFoundError:
            return None

    def _names(self, folder: Path) -> list[str]:
        try:
            return self._files.names(folder)
        except FileNotFoundError:
            return []
