"""Taking visits in: verified, resumed, duplicates recognised, nothing overwritten."""

import shutil

import pytest
from lists import SUPERVISOR

from handsfree.desk import receiving
from handsfree.desk.receiving import Fate, receive
from handsfree.ledger import export, verify
from handsfree.ledger.export import clips_named
from handsfree.office.endorsing import redact_clip
from handsfree.office.verification import known_enrolment
from handsfree.problem import Problem


def fates(source, target):
    return {arrival.source.name: arrival.fate for arrival in receive(source, target)}


def test_visits_arrive_verified_and_a_second_time_are_known(short, tmp_path):
    """A tampered copy is kept as what it is: evidence."""
    here = tmp_path / "here"
    first = fates(short, here)
    assert first["first"] == first["second"] == Fate.TAKEN
    assert first["tampered"] == Fate.FAULTY
    assert verify(here / "first").ok
    assert set(fates(short, here).values()) == {Fate.DUPLICATE}


@pytest.mark.slow("records are verified by programs of their own")
def test_a_name_already_taken_is_not_overwritten(short, tmp_path):
    """Another visit under the same name lies beside it."""
    here = tmp_path / "here"
    (here / "first").mkdir(parents=True)
    (here / "first" / "mine.txt").write_text("mine")
    arrival = next(each for each in receive(short, here) if each.source.name == "first")
    assert arrival.folder == here / "first-2"
    assert (here / "first" / "mine.txt").read_text() == "mine"


@pytest.mark.slow("records are verified by programs of their own")
def test_a_shorter_record_of_the_same_visit_is_kept_beside_the_longer(short, tmp_path):
    """What was cut off on one of them shows by the other."""
    here, stick = tmp_path / "here", tmp_path / "stick"
    shutil.copytree(short / "first", stick / "cut")
    ledger = stick / "cut" / "ledger.jsonl"
    ledger.write_bytes(b"\n".join(ledger.read_bytes().splitlines()[:-1]) + b"\n")
    list(receive(short, here))
    (arrival,) = receive(stick, here)
    assert arrival.fate in {Fate.DIFFERENT, Fate.FAULTY}
    assert arrival.folder == here / "cut"


@pytest.mark.slow("several processes")
def test_a_copy_cut_short_is_not_a_visit_and_is_done_again(short, tmp_path):
    """What lies half copied under its arriving name is replaced."""
    here = tmp_path / "here"
    (here / ".arriving-first" / "sound").mkdir(parents=True)
    (here / ".arriving-first" / "ledger.jsonl").write_bytes(b"half")
    assert fates(short, here)["first"] == Fate.TAKEN
    assert not (here / ".arriving-first").exists()


@pytest.mark.slow("records are verified by programs of their own")
def test_a_folder_that_cannot_be_read_is_told_and_the_others_arrive(short, tmp_path, monkeypatch):
    """One bad folder does not keep the rest out."""

    def failing(folder, target, *, sound):
        if folder.name == "first":
            raise Problem("the stick was pulled out")
        return export(folder, target, sound=sound)

    monkeypatch.setattr(receiving, "export", failing)
    found = fates(short, tmp_path / "here")
    assert found["first"] == Fate.REFUSED
    assert found["second"] == Fate.TAKEN


def test_taking_in_from_itself_is_refused(short):
    """The target lies outside the source."""
    with pytest.raises(Problem, match="another folder"):
        list(receive(short, short / "inside"))


@pytest.mark.slow("several processes")
def test_sound_that_a_fuller_copy_brings_is_taken_over(short, tmp_path):
    """What was reduced is whole again; a damaged clip, and one that no entry names, stay behind and are told."""
    source, here = tmp_path / "stick", tmp_path / "here"
    export(short / "first", source / "first", sound=True)
    export(short / "first", here / "first", sound=False)
    there = source / "first" / "sound"
    (there / f"{'a' * 64}.flac").write_bytes(b"named by nothing")
    named = sorted(clips_named(short / "first"))
    whole = {name: (there / f"{name}.flac").read_bytes() for name in named}
    for name in named:
        (there / f"{name}.flac").write_bytes(whole[name][:-1])
    (arrival,) = receive(source, here)
    assert arrival.fate is Fate.DUPLICATE
    assert "redacted, no part of it, or damaged, and were not taken over" in arrival.sentence
    for name in named:
        (there / f"{name}.flac").write_bytes(whole[name])
    (arrival,) = receive(source, here)
    assert arrival.fate is Fate.FULLER
    assert arrival.report.verdict == "closed"
    assert {file.stem for file in (here / "first" / "sound").iterdir()} == set(named)
    (arrival,) = receive(source, here)
    assert arrival.fate is Fate.DUPLICATE


def test_sound_that_was_redacted_does_not_come_back_by_another_copy(short, tmp_path):
    """Even where no list says who might redact."""
    source, here = tmp_path / "stick", tmp_path / "here"
    for place in (source, here):
        export(short / "first", place / "first", sound=True)
    first = here / "first" / "sound" / f"{min(clips_named(short / 'first'))}.flac"
    enrolment = tmp_path / "state" / "enrolment.jsonl"
    redact_clip(here / "first", first.stem, SUPERVISOR, known_enrolment(), reason="a private word")
    (arrival,) = receive(source, here)
    assert arrival.fate is Fate.DUPLICATE
    assert not first.exists()
    assert arrival.report.verdict == "reduced"
    enrolment.unlink()
    (arrival,) = receive(source, here)
    assert not first.exists()
