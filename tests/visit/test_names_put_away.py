"""Names on a job sheet are put away however YAML 1.2 lets them be written, and the sheet stays one."""

from __future__ import annotations

import pytest
from rehearsed import JOB_SHEET

from handsfree.session.plan import Plan
from handsfree.shipped import procedure_path
from handsfree.visit.folder import JOB_SHEET as SHEET
from handsfree.visit.folder import load_plan
from handsfree.visit.names import names_put_away

WRITTEN = "technician: {name: Ines Demoville, licence: invented 12345}\n"


@pytest.fixture(scope="module")
def loaded() -> tuple[Plan, dict[str, bytes]]:
    return load_plan(procedure_path("safe-isolation"), JOB_SHEET)


@pytest.mark.parametrize("name", [
    "Ines Demoville", "'Ines Demoville'", '"Ines\\x20Demoville"', "!!str Ines Demoville", "&her Ines Demoville",
    "|\n    Ines Demoville", ">-\n    Ines\n    Demoville", "Ines\n    Demoville", "Ines Demoville # Ines",
])  # fmt: skip
def test_however_it_is_written(loaded: tuple[Plan, dict[str, bytes]], name: str) -> None:
    """Styles of scalars: YAML 1.2.2, chapters 7 and 8; a block scalar ends with its own line breaks."""
    plan, kept = loaded
    sheet = kept[SHEET].decode()
    assert WRITTEN in sheet
    sheet = sheet.replace(WRITTEN, f"technician:\n  name: {name}\n  licence: invented 12345\n")
    plan, kept, away = names_put_away(plan, {**kept, SHEET: sheet.encode()})
    assert b"Ines" not in kept[SHEET]
    assert [one.file[32:].strip() for _, one in away] == [b"Ines Demoville", b"invented 12345"]
    technician = plan.sheets.job.technician
    assert [technician.name, technician.licence] == [one.in_text for _, one in away]
