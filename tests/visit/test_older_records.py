"""A visit recorded before questions were objects: it verifies, is decided alike up to its stop, read, reported."""

from __future__ import annotations

import tarfile
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from handsfree.desk.dossier import open_dossier
from handsfree.events import decisions as ev
from handsfree.events.inputs import is_input
from handsfree.events.record import SCHEMA_VERSION, Event
from handsfree.events.state import State
from handsfree.ledger import read, verify
from handsfree.session.apply import after, apply
from handsfree.session.decide import decide
from handsfree.session.opening import opening
from handsfree.visit.folder import plan_of
from handsfree.visit.recorder import recorded_events
from handsfree.visit.replaying import replay_of

GOLDEN = Path(__file__).parents[1] / "session" / "golden" / "visit-of-version-2.tar.xz"
"""The invented technician's whole visit by typed words, with notes, a stop and a tied pair called wrong."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The golden folder, unpacked."""
    base = tmp_path_factory.mktemp("older")
    with tarfile.open(GOLDEN) as packed:
        packed.extractall(base, filter="data")
    return base / "visit"


def test_it_is_of_an_older_version_and_holds_the_old_questions(folder: Path) -> None:
    """Else the tests below show nothing."""
    entries = list(read(folder))
    assert entries[0].event["schema_version"] == 2 < SCHEMA_VERSION
    old = {entry.event["question"] for entry in entries if entry.kind == "asked"}
    assert {"gate", "pair", "restore", "mark-last", "turn-check", "thing-check", "cleared-check"} <= old


def test_it_verifies_and_its_inputs_accept_what_was_recorded_up_to_its_stop(folder: Path) -> None:
    """Every recorded input decided again by today: the same values, verdicts and gates, in other words.

    The words have changed since on purpose (a read-back names its values), and so has how a stop is left: a reason
    alone no longer leads on, so that what comes after the stop is decided in another way.
    """
    report = verify(folder, replay=replay_of(folder))
    assert report.ok, report.sentence()
    (different,) = replay_of(folder)(iter([tuple(read(folder))]))
    assert not different.same_version
    recorded = list(recorded_events(folder))
    again = decided_again(folder, recorded)
    before = matters(up_to_the_stop(recorded))
    assert sorted(matters(up_to_the_stop(again))) == sorted(before)
    assert len(before) > 30
    assert [event for event in recorded if isinstance(event, ev.Cleared)]
    assert not [event for event in again if isinstance(event, ev.Cleared | ev.ReEntered)]


def up_to_the_stop(events: Iterable[Event]) -> list[Event]:
    """Return the events up to the first stop, that one included."""
    found: list[Event] = []
    for event in events:
        found.append(event)
        if isinstance(event, ev.Stopped):
            break
    return found


def decided_again(folder: Path, recorded: Iterable[Event]) -> list[Event]:
    """Return what today's program decides on the recorded inputs."""
    decided: list[Event] = []
    state, plan = State(), None
    for event in recorded:
        fresh: Sequence[Event] = ()
        if isinstance(event, ev.VisitOpened):
            plan = plan_of(folder, event.procedure)
            fresh = opening(plan, event)
        elif is_input(event) and plan is not None:
            fresh = decide(plan, state, event)
            state = apply(plan, state, event)
        if plan is not None:
            state = after(plan, state, fresh)
        decided += fresh
    return decided


def matters(events: Iterable[Event]) -> list[tuple[str, ...]]:
    """Return what a visit comes to: values with how they were confirmed, verdicts, gates, alterations, stops."""
    found: list[tuple[str, ...]] = []
    for event in events:
        match event:
            case ev.ReadingAccepted():
                found.append((event.kind, event.reading.quantity, event.reading.value, event.how))
            case ev.VerdictGiven() | ev.GatePassed():
                found.append((event.kind, event.gate, event.outcome))
            case ev.Altered() | ev.Restored():
                found.append((event.kind, event.thing))
            case ev.Stopped():
                found.append((event.kind, event.why))
            case _:
                pass
    return found


def test_one_answer_changed_is_noticed_when_it_is_decided_again(folder: Path) -> None:
    """The replay of an older record is no formality: another input leads to other events."""
    entries = list(read(folder))
    number = next(i for i, entry in enumerate(entries) if entry.kind == "typed" and entry.event["text"] == "told")
    changed = replace(entries[number], event={**entries[number].event, "text": "blue"})
    found = list(replay_of(folder)(iter([(*entries[:number], changed, *entries[number + 1 :])])))
    assert found
    assert not found[0].same_version


def test_its_questions_are_read_as_todays(folder: Path) -> None:
    """With their fields: the thing, the value that proves it, the direction of a turn."""
    asked = [event.question for event in recorded_events(folder) if isinstance(event, ev.Asked)]
    kinds = {question.kind for question in asked}
    assert {"to-do", "choice", "values", "tied-values", "put-back", "mark", "turn-check", "recheck-thing"} <= kinds
    assert any(question.kind == "thing-check" and question.value == "1.5" for question in asked)
    assert {question.direction for question in asked if question.kind == "turn-check"} <= {
        "clockwise",
        "counter-clockwise",
    }
    assert all(question.quantities for question in asked if question.kind == "read-back")


def test_the_desk_reads_and_reports_it(folder: Path) -> None:
    """As a visit of combustion, with its list judged and its readings there."""
    recorded = open_dossier(folder).evidence.recorded
    assert recorded.closed is not None
    assert recorded.plan is not None
    assert recorded.all(ev.ReadingAccepted)
