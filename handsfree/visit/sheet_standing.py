"""What the maker's data of a visit counts for: checked by two people, by fewer, or withdrawn."""

from __future__ import annotations

from pathlib import Path

from handsfree.bundles.sheet_check import SheetCheck, check_file, checked, read_signed, why_withdrawn
from handsfree.bundles.taken import FOLDER
from handsfree.bundles.withdrawals import NAME, read_withdrawals
from handsfree.ledger import state_folder
from handsfree.office.verification import known_enrolment
from handsfree.problem import ExitCode, Problem


def sheet_standing(
    sheet: Path, content: bytes, version: str | None, enrolment: Path | None = None
) -> tuple[SheetCheck, dict[str, bytes]]:
    """Return who signed a sheet, and what was signed, to be kept with the visit; Problem for a withdrawn version.

    Without an enrolment list on this machine (its own, or the one given) nobody is known, and no signature counts.
    """
    listed, file = known_enrolment(enrolment), check_file(sheet)
    signed = read_signed(file)
    if listed is None:
        return SheetCheck((), ("this machine has no enrolment list, so it knows nobody who signs",)), {}
    fault = why_withdrawn(sheet.stem, version, read_withdrawals(state_folder() / FOLDER / NAME), listed)
    if fault:
        raise Problem(
            f"the maker's data {sheet.stem} {version} may not be used: {fault}",
            where=str(sheet),
            remedy="get the office's newest sheet",
            code=ExitCode.FAILED,
        )
    return checked(content, version, signed, listed), {file.name: file.read_bytes()} if signed else {}
