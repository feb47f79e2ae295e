"""A fault call, a return with a part, a conversion and a service on one serial, and the visit after them."""

from __future__ import annotations

from pathlib import Path

import pytest
from led_visits import record_led
from random_visits import plan_and_sources

from handsfree.desk.concerns import concerns_of
from handsfree.desk.dossier import open_dossier
from handsfree.desk.last_time import last_time
from handsfree.desk.printed import html
from handsfree.ledger import verify
from handsfree.ledger.personal import names_of
from handsfree.visit.recorder import recorded_events, spoken
from handsfree.visit.replaying import replay_of

pytestmark = pytest.mark.slow("five whole visits are recorded")


@pytest.fixture(scope="module")
def device(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("device")


@pytest.fixture(autouse=True)
def _own_state(device: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One device for all visits here, in place of one for each test."""
    monkeypatch.setenv("HANDSFREE_STATE", str(device))


def test_their_history_shows_in_the_next_visit(tmp_path: Path) -> None:
    """What was found, waited for, fitted, converted and left; each on a day of its own, newest first."""
    records = tmp_path / "records"
    record_led(records / "a-fault", "fault-call", answers={"outcome": "waiting"}, days_ago=300)
    record_led(records / "b-return", "return-with-part", days_ago=290)
    record_led(records / "c-conversion", "gas-conversion", days_ago=200)
    record_led(
        records / "d-service", "annual-service", days_ago=92, co2={"maximum": 9.6, "minimum": 9.5},
        answers={"burner-seals": "advised"}, words={"inside": "burner seals"},
    )  # fmt: skip
    plan, _ = plan_and_sources("annual-service")
    before = last_time(records, plan)
    assert before.left_out == ()
    assert [one.procedure for one in before.visits] == [
        "annual-service", "gas-conversion", "return-with-part", "fault-call"
    ]  # fmt: skip
    found = [(one.title, one.answer, one.to_do) for visit in before.visits for one in visit.answers]
    assert found == [
        ("Burner seals", "advised", True), ("The part in hand", "the right one", False),
        ("What the control shows", "shows a code", False), ("Cause found", "cause found", False),
        ("Repaired, waiting or off", "waiting", False),
    ]  # fmt: skip
    now = record_led(tmp_path / "now", "annual-service", before=before, co2={"maximum": 9.1, "minimum": 9.0})
    names = names_of(now)
    said = [names.told(text) for text in spoken(recorded_events(now))]
    at = said.index("Last visit 3 months ago: Annual service, finished.")
    assert said[at + 1 : at + 3] == [
        "Before that: Gas conversion; Return with a part; 1 more.",
        "Still to do: Burner seals, advised, a word about the work.",
    ]
    assert [text for text in said if text.startswith(("Last time", "Unusual drift"))] == [
        "Last time CO2 nine point six, CO three five.", "Unusual drift: CO2 down zero point five.",
        "Last time CO2 nine point five, CO three four.", "Unusual drift: CO2 down zero point five.",
        "Last time water pressure one point five.", "Last time standing two one point five.",
    ]  # fmt: skip
    assert verify(now, replay=replay_of(now)).whole
    drifted = [
        one.says for one in concerns_of(open_dossier(now, alike=[]).evidence, ()) if one.kind == "Unusual drift"
    ]
    assert [one.partition(" on ")[0] for one in drifted] == ["CO₂ 9.10 %, left 9.60 %", "CO₂ 9.00 %, left 9.50 %"]
    paper = html(open_dossier(now, alike=[]))
    days = [one.day for one in before.visits]
    for title, day in zip(
        ("Annual service", "Gas conversion", "Return with a part", "Fault call"), days, strict=True
    ):
        assert f"from {title} of {day} (" in paper
    assert "The part in hand: the right one, a word about the work" in paper
    assert f"Asked again now: since {days[0]}: Burner seals: advised, a word about the work" in paper
