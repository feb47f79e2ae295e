"""What `check` and an editor tell of a procedure: its proofs, and the forms that an author's own trade brings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from handsfree.documents import Document, read_document
from handsfree.problem import Problem
from handsfree.procedure.review import Review, reviewed


def whole_review(path: Path, read: Callable[[Path], Document] = read_document) -> Review:
    """Read and prove a procedure; a fault of a trade's checklist or report is told in place of the proofs."""
    review = reviewed(path, read)
    trade = review.report.procedure.trade if review.report else None
    if trade is None or not trade.own:
        return review
    from handsfree.desk.supervision import check_forms_of_own  # noqa: PLC0415 - loads the desk

    try:
        check_forms_of_own(trade)
    except Problem as problem:
        return replace(review, report=None, problem=problem)
    return review
