"""No name and no words of a person or an author are mistaken for a mark of the program's own."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from rehearsed import DAY, PROCEDURE, at, play, say, sheets, technician

from handsfree.procedure.procedure import load_procedure
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal


@pytest.mark.parametrize("name", ["turn", "settled"])
def test_a_measurement_point_may_have_any_name(tmp_path: Path, name: str) -> None:
    """Advice reads what was read and turned so far; a point called `turn` is no turn."""
    lines = PROCEDURE.read_text("utf-8").splitlines()
    lines = [
        re.sub(r"(?<=[ \[])first-maximum\b", name, one) if re.match(r" +(point|using|voids):", one) else one
        for one in lines
    ]
    for part in PROCEDURE.parent.glob("*.yaml"):
        (tmp_path / part.name).write_bytes(part.read_bytes())
    (tmp_path / PROCEDURE.name).write_text("\n".join(lines), "utf-8")
    plan = Plan(load_procedure(tmp_path / PROCEDURE.name), sheets()).check()
    visit = Rehearsal(plan, DAY)
    play(visit, technician(plan))
    advised = [one for one in visit.events if one.kind == "advised"]
    assert len(advised) > 1
    assert any(one.kind == "set-taken" and one.kept_at == name for one in visit.events)
    assert visit.events[-1].kind == "visit-closed"
    assert visit.events[-1].outcome == "finished"


def test_a_typed_cause_as_long_as_a_checksum_stays_words() -> None:
    """64 characters are not the SHA-256 of a sound."""
    cause = "the paint smelled as it dried in the heat of the flue".ljust(64, "s")[:64]
    assert len(cause) == 64
    visit = at("found-maximum")
    events = say(visit, "stop work", "put right", cause)
    (told,) = [one for one in events if one.kind == "step-reported"]
    assert (told.text, told.sound) == (cause, None)
