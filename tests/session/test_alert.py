"""When nobody answers at a firing gate, the person whom the job sheet names is to be told."""

from __future__ import annotations

import time
from pathlib import Path

from rehearsed import DAY, at, of_kind, plan_with, spoken, with_job

from handsfree.events import decisions as ev
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.sheets import Alert
from handsfree.visit.alerting import tell_others

ALERT = Alert(who="the office", number="0555 0100")
FIRING = "found-maximum"


def silent(visit: Rehearsal) -> list[ev.Decision]:
    """Let the person fall silent until the work has stopped."""
    decided: list[ev.Decision] = []
    while visit.state.status == "running":
        decided += visit.wait()
    return decided


def test_nobody_answers_and_whom_the_sheet_names_is_said_after_the_stop() -> None:
    visit = at(FIRING)
    visit.plan = plan_with(with_job(alert=ALERT))
    decided = silent(visit)
    kinds = [event.kind for event in decided]
    assert kinds.index("stopped") < kinds.index("alerted")
    (alerted,) = of_kind(decided, ev.Alerted)
    assert (alerted.who, alerted.number, alerted.gate) == ("the office", "0555 0100", FIRING)
    assert spoken(decided)[-1] == "No answer here. Call the office: 0555 0100."


def test_a_sheet_that_names_nobody_alerts_nobody() -> None:
    assert not of_kind(silent(at(FIRING)), ev.Alerted)
    assert Rehearsal(at(FIRING).plan, DAY).plan.sheets.job.alert is None


def test_the_devices_command_is_run_with_the_words_of_the_sheet_and_no_shell(tmp_path: Path) -> None:
    told = tmp_path / "told"
    script = tmp_path / "tell.sh"
    script.write_text(f"#!/bin/sh\nprintf '%s|' \"$@\" > {told}.part && mv {told}.part {told}\n")
    script.chmod(0o755)
    event = ev.Alerted(at=1, gate=FIRING, who="the office; rm -rf x", number="$(id)")
    assert tell_others(str(script), event) == ""
    for _ in range(100):
        if told.exists():
            break
        time.sleep(0.05)
    assert told.read_text() == f"the office; rm -rf x|$(id)|{FIRING}|"


def test_a_command_that_is_not_there_is_told() -> None:
    event = ev.Alerted(at=1, gate=FIRING, who="the office", number="1")
    assert "did not start" in tell_others("/nowhere/at-all", event)
