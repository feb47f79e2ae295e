"""How long things were altered, and the setting that each was found at."""

from __future__ import annotations

from pathlib import Path

from rehearsed import at, say, shipped

from handsfree.desk.record import Recorded, RecordedStep
from handsfree.desk.spans import alterations
from handsfree.events import decisions as ev

RESET = "outdoor-reset"


def test_the_setting_read_before_the_first_change_is_the_one_found() -> None:
    """Raised twice and put back to 1.5 twice; an older record that names 1.6 in between changes nothing."""
    visit = at("reset-raised")
    first = visit.state.found[RESET]
    say(visit, "raised", "go back", "go back", "restored", "one point five", "confirmed")
    visit.events.append(ev.FoundValue(thing=RESET, reading=first.model_copy(update={"value": "1.6"})))
    say(visit, "one point five", "confirmed", "raised", "go back", "go back", "restored")
    say(visit, "one point five", "confirmed")
    steps = tuple(
        RecordedStep(seq, "", int(getattr(event, "at", 0)), event.kind, event)  # type: ignore[attr-defined]
        for seq, event in enumerate(visit.events)
    )
    spans = [span for span in alterations(Recorded(Path(), steps, plan=shipped())) if span.thing == RESET]
    assert [(span.found, span.left, span.as_found_again) for span in spans] == [("1.5", "1.5", True)] * 2
