"""Proving one entry of a record alone: that it stood in a record whose head the office logged, and nothing else.

A proof holds the entry's line, its inclusion proof in the tree over the record's lines (RFC 9162, 2.1.3), the
log's leaf that names that tree, the leaf's inclusion proof in the log, and a signed checkpoint.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from handsfree.ledger import merkle
from handsfree.ledger.entry import digest_of
from handsfree.office.log import Checkpoint, checked_leaves, newest_checkpoint, record_lines, signed_lines
from handsfree.problem import ExitCode, Problem


def prove(folder: Path, entry: int, log: Path, public: str) -> dict[str, Any]:
    """Return the proof of one entry; Problem when there is none of that number, or the log has not this record."""
    lines = record_lines(folder)
    if not 0 <= entry < len(lines):
        raise Problem(f"the record has no entry {entry}", where=str(folder))
    tree, visit = merkle.root(lines).hex(), digest_of(lines[0])
    leaves = enumerate(checked_leaves(log, public))
    index = next((n for n, leaf in leaves if leaf.get("tree") == tree and leaf["visit"] == visit), None)
    if index is None:
        raise Problem("the log does not hold this record", where=str(folder), remedy="handsfree log add FOLDER")
    hashes, line = [], b""
    for number, each in enumerate(signed_lines(log, public)):
        hashes.append(merkle.leaf_hash(each))
        line = each if number == index else line
    return {
        "entry": {
            "line": lines[entry].decode(),
            "index": entry,
            "path": [step.hex() for step in merkle.path(entry, lines)],
        },
        "leaf": {
            "line": line.decode(),
            "index": index,
            "path": [step.hex() for step in merkle.path_among(index, hashes)],
        },
        "checkpoint": newest_checkpoint(log),
    }


def proven(proof: Any, public: str) -> tuple[dict[str, Any], Mapping[str, Any]]:
    """Return the entry and the log's leaf that a proof proves; Problem when it proves nothing."""
    try:
        checkpoint = Checkpoint.of(str(proof["checkpoint"]), public)
        leaf = json.loads(proof["leaf"]["line"])
        entry = json.loads(proof["entry"]["line"])
        in_log = _leads_to(proof["leaf"], checkpoint.size) == checkpoint.root
        in_record = _leads_to(proof["entry"], leaf["count"]) == bytes.fromhex(leaf["tree"])
        numbered = entry["seq"] == proof["entry"]["index"]
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise Problem("this is no proof of an entry", code=ExitCode.FAILED) from error
    if not in_log:
        raise Problem("the log of that checkpoint does not hold this record", code=ExitCode.FAILED)
    if not (in_record and numbered):
        raise Problem("the entry was not in the record that was logged", code=ExitCode.FAILED)
    return entry, leaf


def _leads_to(part: Mapping[str, Any], size: int) -> bytes | None:
    path = [bytes.fromhex(step) for step in part["path"]]
    return merkle.root_from(part["line"].encode(), int(part["index"]), size, path)
