"""What is said of the word under the pointer, as Markdown: the page of the language, told at the place."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from handsfree.documents import Document, Path_, parse_document, read_document
from handsfree.editor.cursor import Cursor
from handsfree.editor.known import KnownNames
from handsfree.editor.offers import ITEM_TARGET, TARGET, at, names_at, names_of_keys
from handsfree.editor.shape import keys_of, patterns_of
from handsfree.gates import GATE_KINDS
from handsfree.problem import Problem
from handsfree.procedure.documentation import block_lines, summary_of
from handsfree.procedure.file import IncludeGate
from handsfree.trades.calculation import Calculation


def hover(
    text: str, line: int, column: int, folder: Path, read: Callable[[Path], Document] = read_document
) -> str | None:
    """Return what there is to say at a place of a procedure's text, counted from 0; None where nothing is."""
    try:
        document = parse_document(text, "")
    except Problem:
        return None
    found = _under(document, line + 1, column + 1)
    if found is None or not isinstance(document.content, dict):
        return None
    path, is_key = found
    known = KnownNames(document.content, folder, read)
    return _of_key(document, path, known) if is_key else "\n".join(_of_value(document, path, known)) or None


def _of_key(document: Document, path: Path_, known: KnownNames) -> str | None:
    block = Cursor(path[:-1], is_key=True, content=document.content, word="")
    key = str(path[-1])
    says = keys_of(document.content, path[:-1]).get(key) or names_of_keys(block, known).get(key)
    return f"**{key}**: {says}" if says else None


def _of_value(document: Document, path: Path_, known: KnownNames) -> Iterator[str]:
    value = str(at(document.content, path))
    if path[-1:] == ("kind",):
        for kind in (*GATE_KINDS, IncludeGate):
            if summary_of(kind)[0] == value:
                yield from block_lines(kind)
        return
    if path[-1:] == ("calculation",) and value in known.calculations:
        yield from _of_calculation(value, known.calculations[value])
        return
    cursor = Cursor(path, is_key=False, content=document.content, word=value)
    targets = known.targets() if patterns_of(document.content, path) & {TARGET, ITEM_TARGET} else {}
    says = names_at(cursor, known).get(value) or targets.get(value) or known.parameters().get(value)
    if says:
        yield f"**{value}**: {says}"


def _of_calculation(name: str, one: Calculation) -> Iterator[str]:
    yield f"**{name}**: {one.says}"
    yield ""
    for key, quantities in one.inputs.items():
        yield f"- reads `{key}`: {', '.join(quantities) or 'what `limits` name'}"
    yield f"- its outcomes: {', '.join(f'`{outcome}`' for outcome in one.outcomes)}"
    yield f"- uncertainty: {one.uncertainty}"
    yield f"- source: {one.source}"


def _under(document: Document, line: int, column: int) -> tuple[Path_, bool] | None:
    """Return the path of the key or plain value that begins last before a place of the same line."""
    best: tuple[int, Path_, bool] | None = None
    for is_key, places in ((True, document.keys), (False, document.places)):
        for path, place in places.items():
            plain = is_key or not isinstance(at(document.content, path), dict | list)
            if plain and path and place.line == line and place.column <= column:
                best = max(best or (0, path, is_key), (place.column, path, is_key), key=lambda one: one[0])
    return None if best is None else best[1:]
