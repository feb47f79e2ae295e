"""Invented visits of a fan: three terminals commissioned by typed words, with the real session and ledger."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from handsfree.demo.play import DemoClock, scenario_files
from handsfree.desk.dossier import Dossier
from handsfree.desk.evidence import Evidence
from handsfree.desk.examination import verified
from handsfree.desk.forms import TRADES
from handsfree.desk.record import load
from handsfree.events import inputs as inp
from handsfree.session.playing import AgreeingPlayer
from handsfree.shipped import procedure_path
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder

OWN = TRADES / "ventilation" / "example" / "jobsheet.yaml"
SHEET = OWN if OWN.is_file() else scenario_files()[0]
"""The trade's own invented sheets, once it ships them."""

BEFORE = ("the same", "none at all", "in order", "written down", "written down", "closed", "running")
KITCHEN = ("placed", "ten point five", "confirmed", "opened", "twenty one point five", "confirmed", "locked",
           "confirmed", "lifted", "confirmed")  # fmt: skip
KITCHEN_LOW = (
    "placed",
    "ten point five",
    "confirmed",
    "not done because it is open already",
    "lifted",
    "confirmed",
)
BATHROOM = ("placed", "eight point oh", "confirmed", "lifted", "confirmed")
TOILET = ("placed", "six point two", "confirmed", "lifted", "confirmed")
AFTER = ("nine point five", "confirmed", "ended", "confirmed", "as found", "confirmed", "shown", "confirmed")
FAULTLESS = (*BEFORE, *KITCHEN, *BATHROOM, *TOILET, *AFTER)
TOO_LITTLE = (*BEFORE, *KITCHEN_LOW)


def record_fan(folder: Path, words: tuple[str, ...]) -> Path:
    """Record a visit in which these words are typed one after another; return its folder."""
    plan, kept = load_plan(procedure_path("extract-ventilation"), SHEET)
    clock = DemoClock()
    recorder, _ = Recorder.begin(folder, plan, kept, clock=clock)
    left = list(words)
    for _ in range(400):
        state = recorder.state
        if recorder.closed or (not left and not state.speaking and state.status != "stopped"):
            break
        if state.speaking:
            clock.passes(1.2)
            recorder.take(inp.SpeechEnded(at=recorder.now()))
        elif state.question.kind in {"waiting", "nothing"}:
            due = recorder.deadline()
            assert due is not None
            clock.passes(max(due - recorder.now(), 1) / 1000)
            recorder.take(inp.TimePassed(at=recorder.now()))
        else:
            clock.passes(4)
            answers = plan.catalogue.answers
            at_the_order = state.question.kind == "stopped"
            led = state.question.played(AgreeingPlayer(plan, state)) if state.status == "stopped" else ""
            stopped = answers["close"][0] if at_the_order else led
            said = stopped if state.status == "stopped" else left.pop(0)
            recorder.take(inp.Typed(at=recorder.now(), text=said))
    recorder.release()
    return folder


def dossier_of(folder: Path, trade: str) -> Dossier:
    """Return a visit's dossier as that of a trade."""
    report = verified(folder)
    return Dossier(Evidence(replace(load(folder), trade=trade), report, alike=[]), report)
