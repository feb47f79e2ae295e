"""Sound goes from the device only when an office's receipt for it stands beside the visit, and on command."""

import datetime as dt
import json
from pathlib import Path

import pytest
from lists import OFFICE

from handsfree.handover.thinning import ThinningPolicy, thin
from handsfree.ledger import RecordVerdict
from handsfree.office.enrolling import revoke
from handsfree.office.enrolment import NAME
from handsfree.office.verification import verify_anchored
from handsfree.problem import Problem

AT_ONCE = ThinningPolicy(dt.timedelta(0))


def clips(folder):
    return sorted((folder / "sound").iterdir())


def test_without_a_receipt_nothing_goes(pair):
    done = thin(pair.visits / "first", AT_ONCE, pair.enrolment(), pair.state)
    assert (done.clips, done.why_not) == (0, "the office has given no receipt for it")
    assert clips(pair.visits / "first")


def test_with_one_the_sound_goes_and_the_record_still_verifies(pair, served):
    folder, sender = pair.visits / "first", pair.sender(served)
    sender.send(folder)
    ledger, count = (folder / "ledger.jsonl").read_bytes(), len(clips(folder))
    assert "younger than 30 days" in thin(folder, ThinningPolicy(), pair.enrolment(), pair.state).why_not
    assert thin(folder, AT_ONCE, pair.enrolment(), pair.state).clips == count
    assert not clips(folder)
    assert (folder / "ledger.jsonl").read_bytes() == ledger
    report = verify_anchored(folder, pair.enrolment())
    assert report.verdict == RecordVerdict.REDUCED
    assert not report.findings
    # Sent again, without its sound, it is the same visit, and the office's sound stays.
    sent = sender.send(folder)
    assert len(sent.receipt.clips) == count
    assert len(clips(pair.taken / "first")) == count
    assert thin(folder, AT_ONCE, pair.enrolment(), pair.state).clips == 0


def test_only_the_clips_that_the_receipt_names_go(pair, served):
    folder = pair.visits / "first"
    pair.sender(served).send(folder)
    (folder / "sound" / f"{'0' * 64}.flac").write_bytes(b"recorded since")
    thin(folder, AT_ONCE, pair.enrolment(), pair.state)
    assert [clip.stem for clip in clips(folder)] == ["0" * 64]


@pytest.mark.parametrize("how", ["altered", "stranger", "another record", "unknown"])
def test_a_receipt_that_does_not_hold_lets_nothing_go(pair, served, how):
    folder, other = pair.visits / "first", pair.visits / "second"
    enrolment, sender = pair.enrolment(), pair.sender(served)
    sender.send(folder)
    sender.send(other)
    receipt = json.loads((folder / "receipt.json").read_bytes())
    count = len(clips(folder))
    if how == "altered":
        (folder / "receipt.json").write_text(json.dumps(receipt | {"at": "2020-01-01T00:00:00.000Z"}))
    if how == "stranger":  # its receiver was never enrolled from then on
        revoke(pair.office / NAME, OFFICE, key=receipt["receiver"], why="stolen",
               valid_until="2020-01-01T00:00:00.000Z")  # fmt: skip
        enrolment = pair.enrolment()
    if how == "unknown":
        enrolment = None
    if how == "another record":
        (folder / "receipt.json").write_bytes((other / "receipt.json").read_bytes())
        assert "another state" in thin(folder, AT_ONCE, enrolment, pair.state).why_not
    else:
        with pytest.raises(Problem, match="receipt"):
            thin(folder, AT_ONCE, enrolment, pair.state)
    assert len(clips(folder)) == count


def test_cut_between_the_list_and_the_last_clip_the_record_verifies(pair, served, monkeypatch):
    folder = pair.visits / "first"
    pair.sender(served).send(folder)

    def failing(path, **_more):
        raise OSError(5, "the power went", str(path))

    with monkeypatch.context() as patch:
        patch.setattr(Path, "unlink", failing)
        with pytest.raises(Problem):
            thin(folder, AT_ONCE, pair.enrolment(), pair.state)
    assert not verify_anchored(folder, pair.enrolment()).findings
    thin(folder, AT_ONCE, pair.enrolment(), pair.state)
    assert not clips(folder)
    assert not verify_anchored(folder, pair.enrolment()).findings
