"""Making a bundle: a procedure is held against what is asked of it, and signed with all that belongs to it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from handsfree import __version__
from handsfree.bundles.archive import LOCK, PROCEDURE, SHEETS, STORIES, WORDS, Bundle
from handsfree.bundles.statement import DAY_MS, Approval, signed
from handsfree.desk.supervision import check_forms_of_own
from handsfree.hearing.model_folder import ModelFolder
from handsfree.ledger.clock import stamp
from handsfree.office.enrolment import EnrolledKey, Enrolment, Role
from handsfree.office.kept_key import KeptKey
from handsfree.office.signatures import KeyHolder
from handsfree.problem import ExitCode, Problem
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.finding import PROOFS
from handsfree.procedure.schema import sheet_schema_text
from handsfree.questions.grammar import words as heard_words
from handsfree.release.requirements import must_be_raised, must_be_tested
from handsfree.session.version import DECISION_VERSION, deciding_versions, lock_digest
from handsfree.shipped import lock_file, model_folder
from handsfree.stories.junit import junit
from handsfree.stories.running import Covered, sheets_of
from handsfree.visit.proven import must_be_proven

DAYS = 180
"""How long an approval lasts where nobody says otherwise: common practice, no source."""


@dataclass(frozen=True)
class Author:
    """An enrolled author whose key was opened."""

    key: KeptKey
    listed: EnrolledKey

    @staticmethod
    def of(key: KeptKey, enrolment: Enrolment, now: int) -> Author:
        """Return the author whose key this is; Problem when the list names none who may sign now."""
        listed = enrolment.find(key.public, Role.AUTHOR)
        if listed is None or not listed.valid_at(stamp(now)):
            raise Problem(
                "this key is not enrolled as an author's",
                where=enrolment.where,
                remedy=f"let the office enrol it: handsfree enrol add author NAME {key.public}",
                code=ExitCode.FAILED,
            )
        return Author(key, listed)


def made(
    file: Path,
    author: Author,
    *,
    now: int,
    days: int = DAYS,
    before: Bundle | None = None,
    jobs: int = 1,
    model: Path | None = None,
) -> Bundle:
    """Return the bundle of a procedure, signed.

    Raises Problem when it has no version or one that is not raised as its changes ask for, a proof fails, it has
    no stories, one of them goes otherwise, they cover too little, or a word cannot be heard.
    """
    procedure = load_procedure(file)
    raised = must_be_raised(procedure, before)
    must_be_proven(procedure)
    if procedure.trade.own:
        check_forms_of_own(procedure.trade)
    heard = ModelFolder.check(model or model_folder())
    heard.require(*_words(procedure), procedure.catalogue.language)
    covered = must_be_tested(file, jobs)
    files = _files(procedure, covered)
    says = {
        "procedure": procedure.name,
        "version": raised.version,
        "title": procedure.file.title,
        "trade": procedure.trade.name,
        "language": procedure.file.language,
        "procedure_sha256": procedure.version(),
        "files": {name: hashlib.sha256(data).hexdigest() for name, data in sorted(files.items())},
        "at": stamp(now),
        "valid_until": stamp(now + days * DAY_MS),
        "after": raised.after,
        "weight": raised.weight,
        "proofs": list(PROOFS),
        "stories": _told(covered),
        "proven_with": {
            "program": f"handsfree {__version__}",
            "decision_version": DECISION_VERSION,
            "versions": deciding_versions(),
            "lock_sha256": lock_digest(),
            "model": heard.identity,
        },
    }
    return Bundle(signed(Approval, says, author.listed, KeyHolder(author.key)), files)


def _words(procedure: Procedure) -> tuple[frozenset[str], Any]:
    """Return every word that may be heard, and how each is said."""
    words = heard_words(procedure.catalogue, (procedure.scope(one) for one in procedure.gates))
    return words, procedure.catalogue.pronounced(procedure.words)


def _files(procedure: Procedure, covered: Covered) -> dict[str, bytes]:
    """Return the files of the bundle by their names: procedure, stories and their outcome, sheets, words, lock."""
    files = {f"{PROCEDURE}/{name}": one.text.encode() for name, one in procedure.sources}
    stories = covered.stories
    files[f"{STORIES}/{stories.path.name}"] = stories.document.text.encode()
    files |= {f"{STORIES}/{path.name}": path.read_bytes() for path in sheets_of(stories)}
    files[f"{STORIES}/outcome.xml"] = junit([_without_times(covered)], [()]).encode()
    for sheet in ("job", "appliance"):
        files[f"{SHEETS}/{sheet}.schema.json"] = sheet_schema_text(sheet, procedure.trade).encode()
    words, said = _words(procedure)
    files[WORDS] = _json({word: [" ".join(phones) for phones in said.of(word)] for word in sorted(words)})
    lock = lock_file()
    return files if lock is None else {**files, LOCK: lock.read_bytes()}


def _without_times(covered: Covered) -> Covered:
    """Return the outcome without how long it took, so that the same release makes the same file."""
    return replace(covered, results=tuple(replace(one, seconds=0.0) for one in covered.results))


def _told(covered: Covered) -> dict[str, Any]:
    return {
        "told": len(covered.results),
        "gates": [len(covered.entered), len(covered.procedure.gates)],
        "ways": [len(covered.walked), len(covered.ways)],
    }


def _json(value: Any) -> bytes:
    return (json.dumps(value, indent=1, sort_keys=True, ensure_ascii=False) + "\n").encode()
