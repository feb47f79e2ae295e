"""A whole visit on a real disk: replayed, altered, interrupted at any input, and gone on with."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest
from recorded import Recorded, ToldClock, record
from rehearsed import JOB_SHEET, PROCEDURE, of_kind, shipped

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.state import State
from handsfree.ledger import Entry, Moment, batches, read, verify
from handsfree.problem import Problem
from handsfree.session.apply import after, apply
from handsfree.session.decide import decide
from handsfree.session.playing import AgreeingPlayer
from handsfree.visit.folder import digests, load_plan, plan_of
from handsfree.visit.recorder import EntryReader, Recorder, recorded_state
from handsfree.visit.replaying import replay_of

CUT_AT = (1, 60, 222, 455)
"""Inputs after which the visit is interrupted: at once, in the isolation, in readings, after a turn."""

INPUT_KINDS = {kind.model_fields["kind"].default for kind in get_args(get_args(inp.Input)[0])}


@pytest.fixture(scope="module")
def visit(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Recorded]:
    base = tmp_path_factory.mktemp("recorded")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(base / "state"))
        yield record(base, copy_at=CUT_AT)


@pytest.fixture
def keys(visit: Recorded, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSFREE_STATE", str(visit.folder.parent / "state"))


@pytest.mark.usefixtures("keys")
def test_the_recorded_visit_verifies_and_decides_again_to_the_same_events(visit: Recorded) -> None:
    """Seal, sounds, sources and decisions, all of them."""
    assert visit.state.status == "closed"
    report = verify(visit.folder, replay=replay_of(visit.folder))
    assert report.ok, report.sentence
    assert "decisions" in report.checks


def test_recovery_only_applies_the_recorded_events(visit: Recorded) -> None:
    """The state read from disk is the state that was there, decided by nobody."""
    _, state = recorded_state(visit.folder)
    assert state == visit.state


def test_the_inputs_alone_give_the_events(visit: Recorded) -> None:
    """Stamps, hashes and seals aside: every decision follows from the inputs before it."""
    reader = EntryReader(visit.folder)
    entries = [(entry.kind, reader.event(entry)) for entry in read(visit.folder)]
    plan, state, due = shipped(), State(), []
    checked = 0
    for kind, event in entries:
        if kind in INPUT_KINDS:
            assert due == []
            due = list(decide(plan, state, event))
        elif checked or due:
            assert due.pop(0) == event
            checked += 1
        state = apply(plan, state, event)
    assert checked > 1000


def seq_of(found: Recorded, kind: str) -> int:
    """Return the number of the first entry of a kind: a replay stops there, and so is short."""
    return next(entry.seq for entry in read(found.folder) if entry.kind == kind)


def altered(found: Recorded, kind: str, **change: object) -> Iterator[tuple[Entry, ...]]:
    """Yield the record with the first entry of a kind saying something else."""
    first = seq_of(found, kind)
    for batch in batches(found.folder):
        yield tuple(
            entry if entry.seq != first else replace(entry, event={**entry.event, **change}) for entry in batch
        )


@pytest.mark.parametrize(
    ("kind", "change", "named"),
    [
        ("verdict", {"outcome": "outside"}, "outcome"),
        ("visit-closed", {"readings": 3}, "readings"),
        ("restored", {"thing": "cover"}, "thing"),
    ],
)
def test_an_altered_decision_is_named(visit: Recorded, kind: str, change: dict[str, object], named: str) -> None:
    """However well sealed: what does not follow from the inputs is found, with what should stand there."""
    (difference,) = replay_of(visit.folder)(altered(visit, kind, **change))
    assert named in difference.why
    assert kind in difference.why
    assert difference.same_version


def test_a_left_out_or_added_decision_is_named(visit: Recorded) -> None:
    """A missing event is named by what should stand there; one too many by what it is."""

    def without() -> Iterator[tuple[Entry, ...]]:
        first = seq_of(visit, "restored")
        for batch in batches(visit.folder):
            yield tuple(entry for entry in batch if entry.seq != first)

    def twice() -> Iterator[tuple[Entry, ...]]:
        first = seq_of(visit, "restored")
        for batch in batches(visit.folder):
            yield tuple(one for entry in batch for one in ([entry, entry] if entry.seq == first else [entry]))

    assert "restored" in replay_of(visit.folder)(without())[0].why
    assert "restored" in replay_of(visit.folder)(twice())[0].why


def test_an_altered_input_changes_what_follows(visit: Recorded) -> None:
    """A typed answer replaced: its decision does not follow any more."""
    first = seq_of(visit, "typed")

    def changed() -> Iterator[tuple[Entry, ...]]:
        for batch in batches(visit.folder):
            yield tuple(
                entry if entry.seq != first else replace(entry, event={**entry.event, "text": "no"})
                for entry in batch
            )

    assert replay_of(visit.folder)(changed())


def test_an_input_that_is_none_of_ours_is_told_in_a_sentence(visit: Recorded) -> None:
    """No traceback for a record with a foreign member, and no list of all kinds of entries that there are."""
    (difference,) = replay_of(visit.folder)(altered(visit, "typed", colour="blue"))
    assert (
        difference.why
        == "'typed' cannot stand here: typed.colour: there is no such key here: remove it or correct its name"
    )


@pytest.mark.parametrize("cut", CUT_AT)
def test_an_interruption_at_any_input_goes_on_with_the_same_things(
    visit: Recorded, cut: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Power gone after an input: the same gate and altered things, all asked again, and it verifies."""
    place, before = visit.copies[cut]
    work = tmp_path / "work"
    shutil.copytree(place, work)
    monkeypatch.setenv("HANDSFREE_STATE", str(work / "state"))
    clock = ToldClock(mono=77_000, wall=1_795_100_000_000, boot="boot-2")
    recorder, events = Recorder.resume(work / "visit", clock=clock)
    try:
        state = recorder.state
        assert (state.gate, state.altered, state.found) == (before.gate, before.altered, before.found)
        assert (state.verdicts, state.moves, state.not_done) == (before.verdicts, before.moves, before.not_done)
        (begun,) = of_kind(events, ev.RecheckBegun)
        assert set(begun.items) - {"burner", "rate"} == set(before.altered)
        assert state.now > before.now
        clock.pass_ms(1000)
        assert recorder.now() == state.now + 1000
        recorder.take(inp.Typed(at=recorder.now(), text="stop work"))
        for _ in range(60):  # the way down asks fewer questions
            if recorder.closed:
                break
            clock.pass_ms(1000)
            recorder.take(inp.SpeechEnded(at=recorder.now()))
            question = recorder.state.question
            player = AgreeingPlayer(recorder.plan, recorder.state)
            words = "leave it off" if question.kind == "stopped" else question.played(player)
            recorder.take(inp.Typed(at=recorder.now(), text=words))
        assert recorder.closed
    finally:
        recorder.release()
    report = verify(work / "visit", replay=replay_of(work / "visit"))
    assert report.ok, report.sentence


@pytest.mark.usefixtures("keys")
def test_a_closed_visit_is_not_resumed(visit: Recorded) -> None:
    """One clear sentence."""
    with pytest.raises(Problem):
        Recorder.resume(visit.folder)


def test_what_was_run_is_kept_with_the_visit(visit: Recorded) -> None:
    """Procedure, included files and both sheets, from which the same plan is made again."""
    plan = plan_of(visit.folder, "two-rate-combustion")
    assert plan.procedure.version() == shipped().procedure.version()
    opened = EntryReader(visit.folder).event(next(iter(read(visit.folder))))
    _, kept = load_plan(PROCEDURE, JOB_SHEET)
    as_kept = {**kept, "jobsheet.yaml": (visit.folder / "sources" / "jobsheet.yaml").read_bytes()}
    assert opened.sheets_sha256 == digests(as_kept, plan)
    assert {"safe-isolation.yaml", "gas-rate-check.yaml", "jobsheet.yaml"} <= set(kept)


def test_nothing_is_applied_that_is_not_on_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The append fails: the state stays, nothing is handed out to be spoken, and the answer can be given again."""
    plan, kept = load_plan(PROCEDURE, JOB_SHEET)
    clock = ToldClock()
    recorder, _ = Recorder.begin(tmp_path / "visit", plan, kept, clock=clock)
    before = recorder.state

    def full(_: object) -> None:
        raise Problem("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(recorder._ledger, "append", full)
        with pytest.raises(Problem, match="the disk is full"):
            recorder.take(inp.Typed(at=recorder.now() + 10, text="the same"))
    assert recorder.state == before
    recorder.take(inp.Typed(at=recorder.now() + 20, text="the same"))
    assert recorder.state.gate == "permission"
    recorder.release()


def test_the_day_of_a_visit_is_the_local_one(tmp_path: Path) -> None:
    """Half past eleven at night UTC is the next day an hour further east."""

    class East(ToldClock):
        def now(self) -> Moment:
            return Moment(1_795_044_600_000, self.mono, self.boot, 60)

    plan, kept = load_plan(PROCEDURE, JOB_SHEET)
    recorder, events = Recorder.begin(tmp_path / "visit", plan, kept, clock=East())
    (opened,) = of_kind(events, ev.VisitOpened)
    assert opened.day == "2026-11-19"
    assert after(plan, State(), events) == recorder.state
    recorder.release()
