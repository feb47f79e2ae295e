"""Which proofs of a procedure fail, remembered on this device: proving a long one takes seconds.

The answer is kept under the procedure's version and the fingerprint of the deciding code, which holds the proofs
too. Whoever can write there can as well change the program.
"""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

from handsfree.cache import cache_folder
from handsfree.problem import ExitCode, Problem
from handsfree.procedure.procedure import Procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.proofs.finding import PROOFS
from handsfree.session.version import DECISION_VERSION

FOLDER = "proven"


def failing_proofs(procedure: Procedure) -> tuple[str, ...]:
    """Return the names of the proofs that do not hold for a procedure, in their order; none when it is proven."""
    file = cache_folder() / FOLDER / f"{procedure.version()}-{DECISION_VERSION}.json"
    known = _kept(file)
    if known is not None:
        return known
    report = check(procedure)
    failing = tuple(name for name in PROOFS if report.failed(name))
    with suppress(OSError):  # then it is proven anew the next time
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps(failing), encoding="utf-8")
    return failing


def must_be_proven(procedure: Procedure, *, unproven: bool = False) -> tuple[str, ...]:
    """Return the proofs that fail, where a visit is led all the same; Problem where that was not asked for."""
    failing = failing_proofs(procedure)
    if failing and not unproven:
        raise Problem(
            f"{procedure.name} is not proven: {', '.join(failing)}",
            where=procedure.documents[0].file,
            remedy="see `handsfree check`; --unproven leads it all the same, and every paper says so",
            code=ExitCode.FAILED,
        )
    return failing


def _kept(file: Path) -> tuple[str, ...] | None:
    """Return what was kept; None when nothing was, or it is no list of proofs."""
    try:
        kept = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    known = isinstance(kept, list) and all(name in PROOFS for name in kept)
    return tuple(kept) if known else None
