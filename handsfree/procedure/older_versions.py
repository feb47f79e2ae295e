"""Older versions of the procedures' language: the keys that have other names today, and how an old file is read.

An author's file of an older version is refused: the sentence names the line and the key's new name, and `handsfree
rewrite` renames the keys in the file. A source kept with a record keeps its text, and so its SHA-256; what is read
of it is put into today's form, by the version that it states.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from handsfree.documents import Document, Path_, Place, parse_document, read_document
from handsfree.problem import Problem
from handsfree.procedure.file import LANGUAGE_VERSION
from handsfree.trades import older_names


@dataclass(frozen=True)
class RenamedKey:
    """A key of a gate that has another name since a version of the language."""

    since: int
    block: Path_
    """Where in the gate it stands: the keys that lead to it, outermost first."""
    old: str
    new: str


RENAMED = (
    RenamedKey(2, (), "at", "point"),
    RenamedKey(2, ("settle",), "apart_seconds", "interval_seconds"),
)


def refuse_older(document: Document) -> None:
    """Raise Problem at the first old key of a procedure, or else at an old version."""
    remedy = f"rename it, or let `handsfree rewrite {document.file}` do so"
    for place, what in told_of_older(document):
        raise Problem(what, where=str(place), remedy=remedy)


def told_of_older(document: Document) -> Iterator[tuple[Place, str]]:
    """Yield each key of a procedure that has another name today, by line, and an old version last.

    A file that states today's version and has an old key is told of it too.
    """
    for path, key in sorted(_old_keys(document), key=lambda found: document.key_place(found[0]).line):
        what = f"the key {key.old!r} is called {key.new!r} since version {key.since} of the language"
        yield document.key_place(path), what
    if _version(document) < LANGUAGE_VERSION:
        what = f"this is version {_version(document)} of the language, and today's is version {LANGUAGE_VERSION}"
        yield document.place(("handsfree",)), what


def in_todays_form(document: Document) -> Document:
    """Return a document as it reads in today's language, by the version that it states; its text stays."""
    if _version(document) == LANGUAGE_VERSION:
        return document
    return _renamed(document, dict(_old_keys(document, since=_version(document))))


def read_kept_source(path: Path) -> Document:
    """Read a file that is kept with a record, in today's form; Problem as `read_document`."""
    return _with_todays_words(in_todays_form(read_document(path)))


def _with_todays_words(document: Document) -> Document:
    """Return a kept language with its section and saying by today's names; anything else as it is."""
    words, (section, its_name), (old, new) = document.content, older_names.SECTION, older_names.SAYING
    if not isinstance(words, dict) or "procedure" in words:
        return document
    today = {its_name if key == section else key: value for key, value in words.items()}
    sayings = today.get("sayings")
    if isinstance(sayings, dict) and isinstance(sayings.get(old), str):
        others = {name: text for name, text in sayings.items() if name != old}
        today["sayings"] = {**others, new: sayings[old].replace(*older_names.BLANK)}
    return replace(document, content=today)


def rewritten(document: Document) -> str:
    """Return the text of a procedure in today's language: its old keys are renamed, and nothing else moves.

    Raises Problem when that would change more than the names of the keys.
    """
    old = dict(_old_keys(document))
    edits = [(document.key_place(path), key.old, key.new) for path, key in old.items()]
    if _version(document) < LANGUAGE_VERSION:
        edits.append((document.place(("handsfree",)), str(_version(document)), str(LANGUAGE_VERSION)))
    if not edits:
        return document.text
    rows = document.text.split("\n")
    for place, was, now in sorted(edits, key=lambda edit: (edit[0].line, edit[0].column), reverse=True):
        row = rows[place.line - 1]
        head, tail = row[: place.column - 1], row[place.column - 1 :]
        rows[place.line - 1] = head + tail.replace(was, now, 1)
    text = "\n".join(rows)
    if parse_document(text, document.file).content != _renamed(document, old).content:
        what = "this file cannot be rewritten without changing more than the names of its keys"
        raise Problem(what, where=document.file, remedy="rename them by hand")
    return text


def _renamed(document: Document, old: Mapping[Path_, RenamedKey]) -> Document:
    def today(path: Path_) -> Path_:
        return tuple(old[path[: at + 1]].new if path[: at + 1] in old else part for at, part in enumerate(path))

    def read(value: Any, path: Path_) -> Any:
        if isinstance(value, dict):
            return {today((*path, key))[-1]: read(item, (*path, key)) for key, item in value.items()}
        if isinstance(value, list):
            return [read(item, (*path, number)) for number, item in enumerate(value)]
        return value

    content = {**read(document.content, ()), "handsfree": LANGUAGE_VERSION}
    places = {today(path): place for path, place in document.places.items()}
    keys = {today(path): place for path, place in document.keys.items()}
    return replace(document, content=content, places=places, keys=keys)


def _version(document: Document) -> int:
    """Return the version that a procedure states; today's where it states none that there was, or is none."""
    content = document.content
    stated = content.get("handsfree") if isinstance(content, dict) and "procedure" in content else None
    return stated if type(stated) is int and 0 < stated < LANGUAGE_VERSION else LANGUAGE_VERSION


def _old_keys(document: Document, since: int = 0) -> Iterator[tuple[Path_, RenamedKey]]:
    """Yield where the keys stand that were renamed after a version."""
    content = document.content
    gates = content.get("gates") if isinstance(content, dict) and "procedure" in content else None
    for number, gate in enumerate(gates if isinstance(gates, list) else ()):
        for key in RENAMED:
            block: Any = gate
            for part in key.block:
                block = block.get(part) if isinstance(block, dict) else None
            if key.since > since and isinstance(block, dict) and key.old in block:
                yield ("gates", number, *key.block, key.old), key
