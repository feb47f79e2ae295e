"""The names on a job sheet, put away before the visit is opened: the kept sheet holds commitments instead."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

from ruamel.yaml import YAML
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from handsfree.documents import parse_document
from handsfree.events.inputs import PersonalData
from handsfree.ledger.personal import Committed, committed
from handsfree.procedure.sheets import read_job_sheet
from handsfree.session.plan import Plan
from handsfree.visit.folder import JOB_SHEET

Whose = Literal["technician", "second person"]
What = Literal["name", "licence"]

_NAMES: dict[tuple[str, ...], tuple[Whose, What]] = {
    ("technician", "name"): ("technician", "name"),
    ("technician", "licence"): ("technician", "licence"),
    ("second_person", "people", "name"): ("second person", "name"),
}
"""Where a job sheet names persons, list numbers left out."""


def names_put_away(
    plan: Plan, kept: dict[str, bytes]
) -> tuple[Plan, dict[str, bytes], list[tuple[PersonalData, Committed]]]:
    """Return the plan and the kept files with commitments in the place of names, and what was put away.

    The same text is put away once. Comments of the sheet are left out, since they may name anybody.
    """
    text = kept[JOB_SHEET].decode()
    away: dict[str, tuple[PersonalData, Committed]] = {}
    spans: list[tuple[int, int, str]] = []
    held: list[tuple[int, int]] = []
    for path, node in _scalars(YAML(typ="safe", pure=True).compose(text), ()):
        start, end = node.start_mark.index, node.end_mark.index
        held.append((start, end))
        if path in _NAMES and node.value:
            whose, what = _NAMES[path]
            one = away[node.value][1] if node.value in away else committed(str(node.value).encode())
            datum = PersonalData(commitment=one.commitment, whose=whose, what=what)
            away.setdefault(node.value, (datum, one))
            line_end = text[len(text[:end].rstrip("\r\n ")) : end]  # a block text ends with its lines
            spans.append((start, end, json.dumps(one.in_text) + line_end))
    spans += [(start, end, "") for start, end in _comments(text, held)]
    for start, end, instead in sorted(spans, reverse=True):
        text = text[:start] + instead + text[end:]
    job = read_job_sheet(parse_document(text, JOB_SHEET), plan.procedure.trade)
    sheets = plan.sheets.model_copy(update={"job": job})
    return replace(plan, sheets=sheets), {**kept, JOB_SHEET: text.encode()}, list(away.values())


def _scalars(node: Node | None, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], ScalarNode]]:
    """Yield every scalar with its path of keys; a key has the path of its value's parent."""
    if isinstance(node, MappingNode):
        for key, value in node.value:
            yield (*path, ""), key
            yield from _scalars(value, (*path, key.value))
    elif isinstance(node, SequenceNode):
        for value in node.value:
            yield from _scalars(value, path)
    elif isinstance(node, ScalarNode):
        yield path, node


def _comments(text: str, held: list[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """Yield where the comments stand: from a # that is in no scalar to the end of its line."""
    start = 0
    for line in text.splitlines(keepends=True):
        for at, letter in enumerate(line):
            place = start + at
            alone = at == 0 or line[at - 1] in " \t"
            if letter == "#" and alone and not any(first <= place < last for first, last in held):
                yield place, start + len(line.rstrip("\r\n"))
                break
        start += len(line)
