"""The folder of visits, and what a store keeps of them: it can be thrown away, the folders are the truth."""

from __future__ import annotations

import hashlib
import json
import os
import zlib
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from handsfree.cache import cache_folder
from handsfree.desk.concerns import copied, in_order
from handsfree.desk.examination import opening_facts, stamp
from handsfree.desk.record import MISSHAPEN, opened_in
from handsfree.desk.view import VisitView, unpacked
from handsfree.office.verification import list_digest
from handsfree.problem import Problem, one_line
from handsfree.regular_files import open_regular
from handsfree.store.embedded import open_embedded
from handsfree.store.kept import AlikeVisit, Cell, Concern, Examined, NotedVisit, Row, VisitRow
from handsfree.store.port import VisitStore

MOST = 1 << 53
"""No count is larger; a record may claim any."""
WATCHED = frozenset(
    {
        "ledger.jsonl",
        "sound",
        "personal",
        "sources",
        "redactions.jsonl",
        "endorsements.jsonl",
        "signoff.jsonl",
        "export.json",
        "timestamp.tsr",
    }
)
"""What of a visit's folder is looked at to see whether it changed."""


@dataclass
class _Looked:
    """What a scan met beside visits: folders that it could not look into (and why), folders with nothing in them.

    Each is named from the root.
    """

    closed: list[str] = field(default_factory=list)
    empty: list[str] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)


class Index:
    """One folder of visits, and its store."""

    def __init__(
        self,
        root: Path,
        file: Path | None = None,
        *,
        enrolment: Path | None = None,
        store: VisitStore | None = None,
    ) -> None:
        self.root = root.resolve()
        self.enrolment = enrolment
        """The list that seals are held against; this machine's own copy when None."""
        self.unread = ""
        """Which folders the last scan could not look into, or found strangely empty; nothing when all was well."""
        self.store = store or open_embedded(file or embedded_file(self.root))
        self.changed: Callable[[VisitRow], None] = lambda _: None
        """Is told of each visit that was examined or signed."""

    def within(self, offices: Collection[str] | None) -> Index:
        """Return the same folder as the people of some offices see it; of all where None."""
        seen = Index(self.root, enrolment=self.enrolment, store=self.store.within(offices))

        def tell(row: VisitRow) -> None:
            self.changed(row)

        seen.changed = tell
        return seen

    def scan(self) -> int:
        """Find the visits beneath the folder, note new and changed ones, forget those gone; return how many.

        What lies beneath a folder that cannot be looked into is not gone. Nor is it where the folder is there and
        empty: so looks a share that is not mounted.
        """
        whose, looked = list_digest(self.enrolment), _Looked()
        found = {key: (folder, f"{light};{whose}") for key, (folder, light) in self._folders(looked)}
        known = self.store.lights()
        self.store.forget(self._gone(known.keys() - found.keys(), looked))
        changed = [(key, *there) for key, there in found.items() if known.get(key) != there[1]]
        self.store.note([NotedVisit(key, folder, light, self._quick(folder)) for key, folder, light in changed])
        return len(found)

    def _gone(self, missing: Collection[str], looked: _Looked) -> list[str]:
        """Return those of the missing visits that are surely gone, and say why the others may well be there."""
        empty, gone = set(), []
        for key in missing:
            row = self.store.one(key) if looked.closed or looked.empty else None
            over = set() if row is None else {str(each) for each in Path(row.path).parents}
            if strangely := over & set(looked.empty):
                empty |= strangely
            elif not over & set(looked.closed):
                gone.append(key)
        told = [f"these folders cannot be looked into: {', '.join(looked.unread)}"] if looked.unread else []
        if empty:
            named = ", ".join(sorted(str(self.root / each) for each in empty))
            told.append(
                f"these folders held visits and are empty; is a share not mounted? {named}. What is known of the "
                "visits stays; it is forgotten when such a folder is removed, or holds anything"
            )
        self.unread = one_line("; ".join(told))
        return gone

    def _quick(self, folder: str) -> Row:
        office = Path(folder).parts[0] if os.sep in folder else ""
        return {"office": office, **_quick(self.root / folder)}

    def _folders(self, looked: _Looked) -> Iterator[tuple[str, tuple[str, str]]]:
        """Yield each visit's key, folder and what changes with it; no link is followed, no pipe is opened."""
        stack = [self.root]
        while stack:
            folder = stack.pop()
            try:
                with os.scandir(folder) as entries:
                    inner = list(entries)
            except OSError as error:
                if folder == self.root:
                    raise
                looked.closed.append(str(folder.relative_to(self.root)))
                looked.unread.append(f"{folder}: {error.strerror}")
                continue
            if all(each.name.startswith(".") for each in inner):
                looked.empty.append(str(folder.relative_to(self.root)))
            if not any(each.name == "ledger.jsonl" and not each.is_dir(follow_symlinks=False) for each in inner):
                stack += [
                    Path(each.path)
                    for each in inner
                    if each.is_dir(follow_symlinks=False) and not each.name.startswith(".")
                ]
                continue
            name = str(folder.relative_to(self.root))
            yield key_of(name), (name, _light(inner))

    def keep(self, key: str, examined: Examined) -> None:
        """Take in what an examination found."""
        self.store.keep(key, examined)
        self._tell(key)

    def _tell(self, key: str) -> None:
        if row := self.store.one(key):
            self.changed(row)

    def unchecked(self, most: int = 20) -> list[tuple[str, Path]]:
        """Return visits that were never examined in their present state, newest first."""
        return [(row.key, self.root / row.path) for row in self.store.unchecked(most)]

    def examined(self) -> list[tuple[str, str, Path]]:
        """Return key, state and folder of the visits that were examined and could be read, newest first."""
        return [(row.key, row.light, self.root / row.path) for row in self.store.examined()]

    def alike(self, key: str) -> list[str]:
        """Return the jobs of other visits whose readings are the same but for a few."""
        return _told(self.store.alike([key])[key])

    def view(self, key: str) -> VisitView | None:
        """Return what was kept to be shown of a visit, with what others show of it; None when nothing was."""
        row, body = self.store.one(key), self.store.view(key)
        if row is None or body is None:
            return None
        try:
            return unpacked(body, self.root / row.path).beside(self.alike(key))
        except (ValueError, zlib.error):
            return None

    def concerns(self, keys: Sequence[str]) -> dict[str, tuple[Concern, ...]]:
        """Return what is unresolved of visits, as their pages tell it."""
        kept, alike = self.store.concerns(keys), self.store.alike(keys)
        return {key: in_order([*kept[key], *copied(_told(alike[key]))]) for key in keys}

    def key_of(self, folder: Path) -> str:
        """Return the key of the visit in a folder beneath the root."""
        return key_of(str(folder.resolve().relative_to(self.root)))

    def signed(self, folders: Sequence[Path], verdict: str) -> None:
        """Note that visits, unchanged since they were looked at, were signed just now.

        The list they were looked at with stays noted: where it changed since, the next scan finds them changed.
        """
        for folder in folders:
            key = self.key_of(folder)
            row = self.store.one(key)
            whose = row.light.rpartition(";")[2] if row else ""
            with os.scandir(folder) as entries:
                light = f"{_light(entries)};{whose}"
            self.store.signed(key, verdict, light, stamp(folder))
            self.store.disclaim(key)
            self._tell(key)


def embedded_file(root: Path) -> Path:
    """Return where the embedded store of a folder lies when nobody says otherwise."""
    named = hashlib.sha256(os.fsencode(root.resolve())).hexdigest()[:16]
    return cache_folder() / f"desk-{named}.sqlite"


def _told(alike: Sequence[AlikeVisit]) -> list[str]:
    return [f"{each.job}{f' of {each.day}' if each.day else ''} ({each.shared} readings alike)" for each in alike]


def _light(inner: Iterable[os.DirEntry[str]]) -> str:
    """Return what changes when a visit's folder does, by its own entries alone."""
    states = [each.stat(follow_symlinks=False) for each in inner if each.name in WATCHED]
    return ";".join(f"{s.st_size}:{s.st_mtime_ns}:{s.st_ctime_ns}:{s.st_ino}" for s in states)


def key_of(name: str) -> str:
    """Return the key of a visit from its folder's name beneath the root."""
    return hashlib.sha256(os.fsencode(name)).hexdigest()[:16]


def _quick(folder: Path) -> Row:
    """Return the facts of the first and the last line; nothing is verified by it."""
    try:
        opened, at = opened_in(folder)
        with open_regular(folder / "ledger.jsonl") as stream:
            stream.seek(max(0, os.fstat(stream.fileno()).st_size - 16384))
            lines = stream.read(16384).rstrip(b"\n").split(b"\n")
    except (Problem, OSError):
        return {"seal": "unreadable", "sentence": "the first entry is not that of a visit", "job": folder.name}
    facts: dict[str, Cell] = {**opening_facts(opened), "opened_at": at, "outcome": "open"}
    try:
        last = json.loads(lines[-1])
        facts["entries"] = min(int(last["seq"]), MOST) + 1
        if last["kind"] == "visit-closed":
            facts["outcome"] = str(last["event"]["outcome"])
            facts["not_done"] = len(last["event"]["not_done"])
    except MISSHAPEN:
        pass
    return facts
