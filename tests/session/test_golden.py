"""The shapes that other parts and later versions build on, held by golden files.

A golden file changes only together with the version it belongs to: `python tests/session/test_golden.py`
writes them anew, and refuses to while SCHEMA_VERSION is the one of the files.
"""

from __future__ import annotations

import json
import re
import sys
from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

import jsonschema
import pytest

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.earlier import Compared
from handsfree.events.record import SCHEMA_VERSION, from_record, json_schema, to_record
from handsfree.procedure.procedure import load_procedure
from handsfree.shipped import shipped_procedures
from handsfree.trades.sheets import Alert

GOLDEN = Path(__file__).with_name("golden")
ROOT = Path(__file__).parents[2]
KINDS: dict[str, type[Any]] = {
    cls.model_fields["kind"].default: cls
    for union in (ev.Decision, inp.Input)
    for cls in get_args(get_args(union)[0])
}


def read(name: str) -> Any:
    return json.loads((GOLDEN / name).read_text(encoding="utf-8"))


def gate_ids() -> dict[str, list[str]]:
    """Return the ids of every shipped procedure after flattening, in order."""
    files = shipped_procedures()
    return {path.stem: list(load_procedure(path).gates) for path in files}


def test_there_is_one_example_of_each_kind_of_event_and_input() -> None:
    """No kind without its example, no example without its kind."""
    assert set(read("events.json")["examples"]) == set(KINDS)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_an_example_is_read_and_written_unchanged(kind: str) -> None:
    """From the record to the event and back, byte for byte of JSON."""
    content = read("events.json")["examples"][kind]
    assert to_record(from_record(kind, content)) == (kind, content)


def test_every_example_follows_the_json_schema() -> None:
    """The schema is valid JSON Schema 2020-12 and describes the records."""
    schema = json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    for kind, content in read("events.json")["examples"].items():
        jsonschema.Draft202012Validator(schema).validate({"kind": kind, **content})


def test_the_schema_changes_only_with_its_version() -> None:
    """The JSON Schema is the golden one, or SCHEMA_VERSION was raised and the golden files written anew."""
    golden = read("schema.json")
    assert golden["version"] == SCHEMA_VERSION
    assert json_schema() == golden["schema"]


def test_the_page_of_the_events_tells_their_version_and_what_it_brought() -> None:
    """EVENTS.md names the number that stands in the code, and tells what that version is."""
    page = (ROOT / "handsfree" / "events" / "EVENTS.md").read_text("utf-8")
    told = re.findall(r"`SCHEMA_VERSION` is (\d+)", page)
    assert told == [str(SCHEMA_VERSION)]
    assert f"Version {SCHEMA_VERSION} " in page


def test_no_shape_holds_a_binary_float() -> None:
    """Numbers are integers or decimals written as text: "number" stands nowhere in the schema."""
    assert '"type": "number"' not in json.dumps(read("schema.json"))


def test_gate_ids_are_those_the_records_name() -> None:
    """Ids after flattening; a changed list is a changed procedure, written here on purpose."""
    assert gate_ids() == read("gate-ids.json")


def _examples() -> dict[str, Any]:
    """Return one record of each kind: from the invented visit, and for rare kinds written by hand."""
    sys.path.insert(0, str(Path(__file__).parent / "support"))
    from rehearsed import at, hear, places, plan_with, say, with_job  # noqa: PLC0415

    events = list(places()["", "end"].events)
    for gate, words in (
        (
            "found-maximum",
            ["burner out", "the fan", "wait over", "lit smoothly", "stop work", "put right", "a slip", "open"],
        ),
        (
            "found-maximum",
            ["stop work", "leave it off", "not touched", "that was wrong"],
        ),
        ("permission", ["take a note", "dog in the yard", "hold on", "carry on", "go back", "blue"]),
        ("maximum-hold", ["more time"]),
        ("wiring", ["advised", "a clip is loose"]),
        ("settings-as-found", ["not done because sealed", "hold on"]),
        ("maximum-turn", ["clockwise one turn", "clockwise one turn", "forty", "maximum"]),
        (
            "found-maximum",
            ["nine point four nine point four one eight maximum", "nine point four nine point four"],
        ),
        ("found-maximum", ["nine point four four point four one eight maximum", "no c o two nine point five"]),
    ):
        visit = at(gate, "turn" if gate.endswith("turn") else "gate")
        say(visit, *words)
        events += visit.events
    visit = at("found-maximum")
    hear(visit, "stop")
    hear(visit, "false stop")
    events += visit.events
    visit = at("found-maximum")
    alert = Alert(who="the office", number="0555 0100")
    visit.plan = plan_with(with_job(alert=alert))
    while visit.state.status == "running":
        visit.wait()
    events += visit.events
    visit = at("permission")
    hear(visit, ("told", "0.000"), ("[unk]", "-6.000"), sound="0" * 64)
    visit.take(inp.DeviceLost(at=visit.state.now, device="microphone"))
    visit.take(inp.DeviceFound(at=visit.state.now, device="microphone"))
    poor = inp.SoundPoor(
        at=visit.state.now,
        fault="too-noisy",
        noise_db=Decimal("-31.5"),
        speech_db=Decimal("-30.0"),
        lost_blocks=0,
    )
    visit.take(poor)
    visit.resume()
    events += visit.events
    events.append(
        ev.Cleared(at=1, gate="site", reason="cleared because all is well", sound=None)
    )  # until version 3
    events.append(ev.AnsweredBy(at=1, gate="nuts", role="second person", name="T. Example"))
    events.append(ev.SoundConsent(at=1, kept=True))
    signature = inp.PersonalData(commitment="0" * 64, whose="customer", what="signature")
    events.append(inp.SignatureDrawn(at=1, gate="signatures", signature=signature))
    photo = inp.PersonalData(commitment="0" * 64, whose="customer", what="photo")
    events.append(inp.PhotoTaken(at=1, gate="plate-gas", photo=photo, source="page"))
    events.append(ev.NoPhoto(at=1, gate="plate-gas", reason="too dark", sound=None))
    compared = Compared(
        quantity="co2", unit="%", now="8.8", last="9.3", day="2026-03-02", left=True, change="-0.5",
        unusual="by more than 0.4 (a source)",
    )  # fmt: skip
    events.append(ev.LastTimeTold(at=1, gate="found-maximum", kept_at="found-maximum", compared=(compared,)))
    shown = inp.InstrumentValue(quantity="co2", value="9.1", unit="%")
    events.append(
        inp.InstrumentRow(at=2, taken=1, instrument="the one in the van", mapping="0" * 12, values=(shown,))
    )
    called, row = (
        ev.ReadingRecord(quantity="co2", value=value, unit="%", resolution="0.1") for value in ("9.7", "9.1")
    )
    events.append(
        ev.InstrumentCompared(
            at=3, gate="read", reading=called, shown=row, age_ms=2, room="0.25", agrees=False, asks=True
        )
    )
    found: dict[str, Any] = {}
    for event in events:
        found.setdefault(*to_record(event))
    return {kind: found[kind] for kind in sorted(found)}


def _write(name: str, content: Any) -> None:
    text = json.dumps(content, indent=1, ensure_ascii=False) + "\n"
    (GOLDEN / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    GOLDEN.mkdir(exist_ok=True)
    _write("gate-ids.json", gate_ids())
    old = read("schema.json") if (GOLDEN / "schema.json").exists() else None
    if old is not None and old["version"] == SCHEMA_VERSION and old["schema"] != json_schema():
        sys.exit("the schema has changed: raise SCHEMA_VERSION first")
    _write("schema.json", {"version": SCHEMA_VERSION, "schema": json_schema()})
    _write("events.json", {"version": SCHEMA_VERSION, "examples": _examples()})
