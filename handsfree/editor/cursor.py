"""Where the cursor stands in a procedure that is being written, and may not be whole."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from handsfree.documents import Path_, parse_document, walk
from handsfree.problem import Problem

_MARK = "zqcursorqz"
"""Stands at the cursor while the text is parsed; no word holds it."""

_WORD_BEFORE = re.compile(r"[\w$./-]*\Z")
_CLOSES = {"{": "}", "[": "]"}


@dataclass(frozen=True)
class Cursor:
    """The key or value that stands at the cursor."""

    path: Path_
    """Of the value; of a key the block that it stands in."""
    is_key: bool
    content: Any
    """The file as far as it can be read, without what stands at the cursor."""
    word: str
    """What stands between the last space and the cursor."""


def cursor_at(text: str, line: int, column: int) -> Cursor | None:
    """Return where the cursor is, line and column counted from 0; None where no key or value can stand."""
    lines = text.splitlines() or [""]
    here = lines[line] if line < len(lines) else ""
    before = "\n".join([*lines[:line], here[:column]])
    rest, after = here[column:], lines[line + 1 :]
    match = _WORD_BEFORE.search(before)
    word = match.group() if match else ""
    for whole in _repairs(before, rest, after):
        try:
            content = parse_document(whole, "").content
        except Problem:
            continue
        return _found(content, word)
    return None


def _repairs(before: str, rest: str, after: list[str]) -> Iterator[str]:
    """Yield the text with the mark at the cursor: as it is, as a key, brackets closed, without what follows."""
    closed, below = _closing(before), "\n".join(["", *after, ""])
    for tail in (f"{rest}{below}", f"{closed}{below}", f"{closed}\n"):
        yield f"{before}{_MARK}{tail}"
        yield f"{before}{_MARK}: {tail.lstrip(': ')}"
        yield f"{before} {_MARK}{tail}"  # right behind a colon


def _closing(before: str) -> str:
    """Return what closes the brackets and the quote that stand open at the end of a text."""
    opened: list[str] = []
    quote, last = "", "\n"
    for letter in before:
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'" and last in "\n:,[{- ":
            quote = letter
        elif letter in _CLOSES:
            opened.append(_CLOSES[letter])
        elif opened and letter == opened[-1]:
            opened.pop()
        last = letter
    return quote + "".join(reversed(opened))


def _found(content: Any, word: str) -> Cursor | None:
    for path, value in walk(content):
        if isinstance(value, dict):
            key = next((name for name in value if _MARK in name), None)
            if key is not None:
                del value[key]
                return Cursor(path, is_key=True, content=content, word=word)
        if isinstance(value, str) and _MARK in value:
            return Cursor(path, is_key=False, content=_without(content, path), word=word)
    return None


def _without(content: Any, path: Path_) -> Any:
    """Return the content with nothing at the path."""
    inner = content
    for part in path[:-1]:
        inner = inner[part]
    if path:
        inner[path[-1]] = None
    return content if path else None
