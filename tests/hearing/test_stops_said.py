"""What a network for "stop" learns from and is judged by: whose sound, over which noise, at what threshold."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from models.training.sound_store import RATE
from models.training.split import Part
from models.training.stops_said import bare, over_noise, talk, threshold

TRAINED, TUNED, KEPT, ELSEWHERE = "fkdo", "fjam", "mcel", "nobody"
"""Speakers of AN4 as `split.tsv` lists them; who is not listed is kept for the last test."""
BRITISH_TUNED, BRITISH_KEPT = "eccc-s2", "eccc-s1"


@pytest.fixture
def speech(tmp_path: Path) -> Path:
    """Return a folder as that of the recordings, with a second of faint noise for each clip."""
    sound = np.random.default_rng(1).normal(size=RATE) * 0.01
    for listing, speakers in (("train", (TRAINED, TUNED, KEPT)), ("test", (ELSEWHERE,))):
        (tmp_path / "an4" / listing).mkdir(parents=True)
        rows = [f"{who}-{words}\t{who}\t{words}" for who in speakers for words in ("stop", "go", "stop now")]
        (tmp_path / "an4" / f"{listing}.tsv").write_text("\n".join(["file\tspeaker\twords", *rows, ""]), "utf-8")
        for row in rows:
            soundfile.write(tmp_path / "an4" / listing / f"{row.split(chr(9))[0]}.flac", sound, RATE)
    folder = tmp_path / "people" / "british-words-confusion-corpus"
    folder.mkdir(parents=True)
    soundfile.write(folder / "000.opus", np.tile(sound, 4), RATE, format="OGG", subtype="OPUS")
    clips = [(who, words) for who in (BRITISH_TUNED, BRITISH_KEPT) for words in ("stop", "star")]
    rows = [f"000.opus\t{n * RATE}\t{(n + 1) * RATE}\t{who}\t{words}" for n, (who, words) in enumerate(clips)]
    (folder / "clips.tsv").write_text("\n".join(["file\tbegin\tend\tspeaker\twords", *rows, ""]), "utf-8")
    return tmp_path


def test_nobody_who_is_learned_from_says_stop_in_another_part(speech: Path) -> None:
    said = {part: {one.speaker for one in bare(speech, part)} for part in Part}
    assert said == {
        Part.TRAIN: {f"an4 {TRAINED}"},
        Part.TUNE: {f"an4 {TUNED}", f"british {BRITISH_TUNED}"},
        Part.FINAL: {f"an4 {KEPT}", f"an4 {ELSEWHERE}", f"british {BRITISH_KEPT}"},
    }


def test_talk_that_is_no_stop_holds_none_and_is_of_its_part(speech: Path) -> None:
    collections = ["british-words-confusion-corpus", "wake-words"]
    assert [(one.speaker, one.words) for one in talk(speech, collections, Part.FINAL)] == [(BRITISH_KEPT, "star")]
    assert not talk(speech, collections, Part.TRAIN)


@pytest.mark.parametrize("ratio", [15.0, 0.0])
def test_a_stop_stands_so_many_decibels_over_the_noise(ratio: float) -> None:
    chance = np.random.default_rng(2)
    sound, noise = chance.normal(size=RATE).astype(np.float32), chance.normal(size=3000).astype(np.float32)
    mixed, alone = over_noise(sound, noise, ratio), over_noise(sound, noise, None)
    inside = slice(RATE // 2, -RATE // 2)
    under = np.mean((mixed - alone) ** 2)
    assert 10 * np.log10(np.mean(alone[inside] ** 2) / under) == pytest.approx(ratio, abs=0.1)
    assert not alone[: RATE // 2].any()


def test_no_more_than_the_rate_lie_above_the_threshold() -> None:
    odds = [3.0, 9.0, 1.0, 7.0, 5.0]
    for hours, an_hour, passing in ((1.0, 0.5, 0), (2.0, 0.5, 1), (4.0, 0.5, 2), (100.0, 1.0, 4)):
        above = threshold(odds, hours, an_hour)
        assert sum(one > above for one in odds) == passing
