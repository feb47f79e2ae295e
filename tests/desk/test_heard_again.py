"""What hearing a visit again found stands on its page and in the inbox, until the visit or the model changes."""

import json
import shutil
from dataclasses import replace

import pytest
from lists import SUPERVISOR
from starlette.testclient import TestClient
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.desk import hearing_again
from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.hearing_again import HearingAgain
from handsfree.desk.index import Index, key_of
from handsfree.desk.site import Desk
from handsfree.problem import Problem
from handsfree.rehearing.findings import HeardAgain, HeardAgainFinding
from handsfree.rehearing.kept import keep_result, kept_result, last_known

CLIP = "0" * 64
FOUND = HeardAgain(
    model="invented",
    further=False,
    voice=True,
    spoken=12,
    typed=2,
    without_sound=0,
    alike=10,
    findings=(
        HeardAgainFinding("otherwise", 8, 4200, "nine", "five", "the record has “nine”; heard is “five”", CLIP),
        HeardAgainFinding("tone", 14, 8400, "zeroed", "", "the clip is a steady tone, not speech", CLIP),
    ),
)


@pytest.fixture
def index(short):
    made = Index(short)
    made.scan()
    return made


def page_of(index, name):
    index.keep(key_of(name), examine(index.root / name))
    browser = TestClient(Desk(index, Door(), SUPERVISOR).application(), base_url="http://127.0.0.1:8470")
    return browser.get(f"/visit/{key_of(name)}").text


def test_findings_answer_whether_a_visit_can_be_trusted_and_lead_to_the_clip(index):
    assert "Not heard again yet" in page_of(index, "first")
    keep_result(index.root / "first", FOUND)
    page = page_of(index, "first")
    trust = page.split("To be trusted?")[1].split("</div>")[0]
    assert "Heard otherwise: the record has “nine”; heard is “five”, at 0:04" in trust
    assert f'href="/visit/{key_of("first")}/sound/{CLIP}.flac"' in page
    assert f'href="/visit/{key_of("first")}/talk#line-8"' in page
    kinds = [one.kind for one in index.concerns([key_of("first")])[key_of("first")]]
    assert kinds.index("Heard otherwise") < kinds.index("A tone, no speech")


def test_each_stop_that_was_missed_is_a_concern_by_itself(index):
    missed = [
        HeardAgainFinding("stop missed", seq, 4000, "go on", "stop", "heard is “stop”", CLIP) for seq in (8, 9)
    ]
    keep_result(index.root / "first", replace(FOUND, findings=tuple(missed)))
    told = [row for row in examine(index.root / "first").rows["concern"] if row["kind"] == "Stop in the sound"]
    assert [row["seq"] for row in told] == [8, 9]


def test_a_visit_without_findings_says_so_and_stays_as_calm_as_it_was(index):
    calm = replace(FOUND, findings=(), alike=12)
    before = examine(index.root / "first").facts
    keep_result(index.root / "first", calm)
    assert "Heard again: 12 utterances, none is heard otherwise." in page_of(index, "first")
    after = examine(index.root / "first").facts
    assert after == before


def test_a_result_belongs_to_the_very_content_and_model(index, tmp_path):
    folder = index.root / "first"
    keep_result(folder, FOUND)
    assert kept_result(folder) == FOUND
    moved = shutil.copytree(folder, tmp_path / "moved")
    assert kept_result(moved) == FOUND
    clip = next((moved / "sound").iterdir())
    clip.unlink()
    assert kept_result(moved) is None
    ledger = folder / "ledger.jsonl"
    ledger.write_bytes(ledger.read_bytes() + b"{}\n")
    assert kept_result(folder) is None
    assert kept_result(index.root / "second", tmp_path / "no model") is None


def test_what_was_found_in_a_clip_stands_after_the_clip_is_gone(index):
    """Whoever deletes the sound of a stop that was missed deletes no hazard."""
    folder = index.root / "first"
    clip = next((folder / "sound").iterdir())
    missed = HeardAgainFinding("stop missed", 8, 4000, "go on", "stop", "heard is “stop”", clip.name.split(".")[0])
    keep_result(folder, replace(FOUND, findings=(missed,)))
    assert last_known(folder).findings == (missed,)
    clip.unlink()
    gone = (replace(missed, says="heard is “stop” (the sound is gone since)"),)
    assert last_known(folder).findings == gone
    assert keep_result(folder, replace(FOUND, findings=())).findings == gone
    assert last_known(folder).findings == kept_result(folder).findings == gone
    told = [row["says"] for row in examine(folder).rows["concern"] if row["kind"] == "Stop in the sound"]
    assert told == ["heard is “stop” (the sound is gone since), at 0:04"]


class _Sandbox:
    """Hears at once, in this process, as the test says."""

    def __init__(self, *_args, **_options):
        self.asked = []

    def do(self, folder, *, where):
        self.asked.append(folder.name)
        if folder.name == "second":
            raise Problem("looking at it took longer than 1 s", where=where)
        keep_result(folder, FOUND)
        return examine(folder)

    def close(self):
        pass


def test_each_visit_is_heard_once_in_the_background_and_one_that_cannot_be_stops_no_other(index, monkeypatch):
    monkeypatch.setattr(hearing_again, "Sandbox", _Sandbox)
    for name in ("first", "second"):
        index.keep(key_of(name), examine(index.root / name))
    hearing = HearingAgain(index)
    hearing.look()
    assert "took longer" in hearing.illness
    assert index.view(key_of("first")).heard_again == FOUND
    assert index.view(key_of("second")).heard_again is None
    hearing.look()
    assert sorted(hearing._sandbox.asked) == ["first", "second"]


@pytest.mark.slow("a visit is heard again by a program of its own")
def test_the_command_tells_each_finding_with_its_entry_and_fails(index):
    keep_result(index.root / "first", FOUND)
    told = CliRunner().invoke(app, ["rehear", str(index.root / "first"), str(index.root / "nowhere")])
    assert told.exit_code == 1
    assert "entry 8, “nine”: heard otherwise: the record has “nine”; heard is “five”" in told.output
    assert "nowhere: not heard again: " in told.output
    as_json = CliRunner().invoke(app, ["rehear", "--json", str(index.root / "first")])
    assert json.loads(as_json.output)["visits"][0]["findings"][1]["kind"] == "tone"
