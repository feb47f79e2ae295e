"""Findings for reviewers' tools, as SARIF 2.1.0.

SARIF: OASIS Standard, Static Analysis Results Interchange Format 2.1.0, with errata 01 (2023).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from urllib.parse import quote

from handsfree import __version__
from handsfree.procedure.review import ReviewNote

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"


def as_sarif(notes: Sequence[ReviewNote], rules: Mapping[str, str]) -> str:
    """Return a SARIF log of one run; `rules` says what each rule is about."""
    told = {**rules, **{note.rule: rules.get(note.rule, note.rule) for note in notes}}
    driver = {
        "name": "handsfree",
        "version": __version__,
        "rules": [{"id": rule, "shortDescription": {"text": says}} for rule, says in told.items()],
    }
    results = [
        {
            "ruleId": note.rule,
            "ruleIndex": list(told).index(note.rule),
            "level": note.level,
            "message": {"text": note.what},
            "locations": [
                {
                    "physicalLocation": {
                        "artifactLocation": {"uri": _uri(note.place.file)},
                        "region": {"startLine": note.place.line, "startColumn": note.place.column},
                    }
                }
            ],
        }
        for note in notes
    ]
    log = {"$schema": SCHEMA, "version": "2.1.0", "runs": [{"tool": {"driver": driver}, "results": results}]}
    return json.dumps(log, indent=2, ensure_ascii=False) + "\n"


def _uri(file: str) -> str:
    """Return a file as a reference from the folder the command ran in; an absolute one where it lies elsewhere."""
    path, here = Path(file).resolve(), Path.cwd()
    return quote(path.relative_to(here).as_posix()) if path.is_relative_to(here) else path.as_uri()
