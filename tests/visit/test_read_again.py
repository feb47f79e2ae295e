"""A setting read again after its change, on a real disk: recovered, verified, a forged as-found value named."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from recorded import ToldClock
from rehearsed import JOB_SHEET, PROCEDURE, technician

from handsfree.events import inputs as inp
from handsfree.ledger import Entry, batches, read, verify
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder, recorded_state
from handsfree.visit.replaying import replay_of

RESET = "outdoor-reset"
SAID = (
    "raised", "go back", "go back", "restored", "one point five", "confirmed", "one point six", "confirmed",
    "stop work", "close the record", "burner switched off", "gas cock closed", "power isolated",
    "removed", "fitted", "closed", "closed", "tag fitted", "person told", "none", "confirmed",
)  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    base = tmp_path_factory.mktemp("read-again")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(base / "state"))
        record(base / "visit")
    return base / "visit"


def record(folder: Path) -> None:
    """Record the invented technician's visit up to the raised reset, and from there what is SAID."""
    clock = ToldClock()
    plan, kept = load_plan(PROCEDURE, JOB_SHEET)
    recorder, opening = Recorder.begin(folder, plan, kept, clock=clock)
    person, said = technician(plan), iter(SAID)
    person.notice(opening, 0)
    while not recorder.closed:
        clock.pass_ms(1200)
        state = recorder.state
        if state.speaking:
            recorder.take(inp.SpeechEnded(at=recorder.now()))
            continue
        begun = state.gate == "reset-raised" or RESET in state.altered_at
        text = next(said) if begun else person.answer(state)
        person.notice(recorder.take(inp.Typed(at=recorder.now(), text=text)), recorder.state.now / 1000)
    assert next(said, None) is None
    recorder.release()


@pytest.fixture
def keys(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSFREE_STATE", str(folder.parent / "state"))


@pytest.mark.usefixtures("keys")
def test_the_record_verifies_and_holds_both_values(folder: Path) -> None:
    """Found at 1.5 once; 1.6 stands as a later reading, with what was said to it; decided again to the same."""
    report = verify(folder, replay=replay_of(folder))
    assert report.ok, report.sentence
    assert "decisions" in report.checks
    entries = list(read(folder))
    found = [entry.event["reading"]["value"] for entry in entries if entry.kind == "found-value"]
    called = [
        entry.event["reading"]["value"]
        for entry in entries
        if entry.kind == "reading-accepted" and entry.event["kept_at"] == "reset-found"
    ]
    assert (found, called) == (["1.5"], ["1.5", "1.6"])
    assert recorded_state(folder)[1].found[RESET].value == "1.5"


def test_a_later_value_put_in_as_found_is_named(folder: Path) -> None:
    """However well sealed, it does not follow from what was said."""

    def forged() -> Iterator[tuple[Entry, ...]]:
        entries = list(read(folder))
        found = next(entry for entry in entries if entry.kind == "found-value")
        later = [entry for entry in entries if entry.kind == "set-taken"][-1]
        reading = {**found.event["reading"], "value": "1.6"}
        for batch in batches(folder):
            for entry in batch:
                yield (entry,)
                if entry.seq == later.seq:
                    yield (replace(found, event={**found.event, "reading": reading}),)

    (difference,) = replay_of(folder)(forged())
    assert "'found-value'" in difference.why
    assert difference.same_version
