"""Readable rehearsals of whole visits: what is said, gate after gate, and how each visit ends."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app

SCRIPTS = Path(__file__).with_name("scripts")


def rehearsed(name: str) -> list[dict[str, object]]:
    """Return the events of a script run from the command line."""
    script = str(SCRIPTS / f"{name}.yaml")
    command = ["rehearse", "two-rate-combustion", "--script", script, "--day", "2026-11-25", "--json"]
    result = CliRunner().invoke(app, command)
    assert result.exit_code == 0, result.output[-800:]
    return [json.loads(line) for line in result.output.splitlines() if line.startswith("{")]


def kinds(events: list[dict[str, object]]) -> set[object]:
    return {event["kind"] for event in events}


def test_every_script_has_its_test() -> None:
    """No script lies here unread."""
    assert {path.stem for path in SCRIPTS.glob("*.yaml")} == {"in-band", "adjusted", "not-done", "stopped"}


def test_a_boiler_in_its_band_is_left_as_it_is() -> None:
    """Finished, nothing altered, no advice and no turn."""
    events = rehearsed("in-band")
    assert not {"advised", "turned", "not-understood", "stopped"} & kinds(events)
    closed = events[-1]
    assert (closed["kind"], closed["outcome"], closed["still_altered"]) == ("visit-closed", "finished", [])


def test_a_lean_boiler_is_turned_in_and_passes_twice() -> None:
    """A turn, a correction in one breath, two passes that agree, finished with nothing altered."""
    events = rehearsed("adjusted")
    assert {"advised", "turned", "reading-corrected", "set-voided"} <= kinds(events)
    verdicts = {event["gate"]: event["outcome"] for event in events if event["kind"] == "verdict"}
    assert verdicts["found-maximum-verdict"] == "outside"
    assert (verdicts["maximum-agrees"], verdicts["minimum-agrees"], verdicts["final-verdict"]) == ("within",) * 3
    assert (events[-1]["outcome"], events[-1]["still_altered"]) == ("finished", [])


def test_what_is_not_done_is_on_top_of_the_record() -> None:
    """Three gates with their reasons; the gate gone back to and done is not among them."""
    events = rehearsed("not-done")
    assert events[-1]["not_done"] == ["settings-as-found", "flame-sound", "labels"]
    reasons = [event["reason"] for event in events if event["kind"] == "not-done"]
    assert reasons[0] == "not done because the panel is locked"


def test_a_stopped_visit_names_what_is_still_altered() -> None:
    """The gas script, a re-entry refused for want of the source, and a closed record that is not finished."""
    events = rehearsed("stopped")
    (stop,) = [event for event in events if event["kind"] == "stopped"]
    assert (stop["why"], stop["script"]) == ("gas-smell", "Gas. Touch no switch. Everyone out. Call from outside.")
    assert "re-entered" not in kinds(events)
    assert events[-1]["outcome"] == "made-safe"
    assert {"rate-hold", "probe", "sample-plug"} <= set(events[-1]["still_altered"])  # type: ignore[call-overload]


def test_a_false_expectation_fails_with_its_line(tmp_path: Path) -> None:
    """The command says where the script and the visit part."""
    script = tmp_path / "wrong.yaml"
    script.write_text("- the same\n- expect: finish\n", encoding="utf-8")
    result = CliRunner().invoke(app, ["rehearse", "two-rate-combustion", "--script", str(script)])
    assert result.exit_code != 0
    assert isinstance(result.exception, Exception | SystemExit)


@pytest.mark.parametrize("name", ["in-band", "adjusted", "not-done", "stopped"])
def test_a_script_reads_as_words(name: str) -> None:
    """Every step is words, a wait, an expectation or the end."""
    for line in (SCRIPTS / f"{name}.yaml").read_text(encoding="utf-8").splitlines():
        assert line.startswith(("# ", "- ")), line
