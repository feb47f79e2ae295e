"""Files and phrases tried at a desk are judged as a visit judges, third opinion included."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from handsfree.commands import trial_recogniser
from handsfree.commands.app import app
from handsfree.commands.trial_recogniser import Judged, at_question, example_plan
from handsfree.events.inputs import Alternative, Heard, HeardWord
from handsfree.hearing.alternatives import Hypothesis
from handsfree.hearing.general.judging import GeneralJudgement
from handsfree.hearing.general.weights import GeneralFolder, GeneralPlan
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.procedure import load_procedure
from tests.hearing.sounds import mixed, spoken

PROCEDURE = Path(__file__).parent / "one-reading.yaml"
AT_THE_ROOM = f"{PROCEDURE}:room"


def heard(*said: tuple[str, str]) -> Heard:
    """Return alternatives by their words and scores."""
    listed = tuple(
        Alternative(
            words=tuple(
                HeardWord(word=one, start_ms=0, end_ms=300, confidence=Decimal(1)) for one in text.split()
            ),
            score=Decimal(score),
        )
        for text, score in said
    )
    return Heard(at=0, alternatives=listed, grammar="", started=0, ended=300)


@pytest.mark.parametrize(
    ("said", "does", "text"),
    [
        (heard(("four", "0"), ("five", "-6")), "taken at once", "four"),
        (heard(("four", "0"), ("five", "-1")), "asked", "four"),
        (heard(("[unk]", "0"), ("four", "-6")), "not heard", ""),
        (heard(("stop stop stop", "0"), ("four", "-6")), "taken at once", "stop stop stop"),
    ],
)
def test_it_tells_what_a_visit_does(said: Heard, does: str, text: str) -> None:
    """The leads are far from the margins that the session is fitted with, on either side."""
    plan = example_plan(load_procedure(PROCEDURE))
    question = plan.gate("room").gate.questions(plan.scope("room"))[0]
    chooses = at_question(plan, "room", question, plan.grammar(question, "room"))
    judged = Judged(said, chooses(said))
    assert (judged.does, judged.text) == (does, text)


class _Contrary:
    """A third opinion that finds something else far likelier than whatever we heard."""

    def __init__(self, plan: GeneralPlan, pronunciations: Pronunciations) -> None:
        assert plan.folder.path == Path("weights")
        assert pronunciations.of("sixty")

    def wait(self) -> _Contrary:
        return self

    def scorer(self) -> _Contrary:
        return self

    def patient(self) -> None:
        pass

    def ahead(self, *_: object) -> None:
        return None

    def weigh(
        self, _: object, listed: tuple[Hypothesis, ...], *__: object
    ) -> tuple[tuple[Hypothesis, ...], GeneralJudgement]:
        weighed = tuple(replace(one, general=Decimal(-60)) for one in listed)
        return weighed, GeneralJudgement("other", "a good morning to you", Decimal(-2))


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    """ "sixty" in a quiet room."""
    path = tmp_path / "sixty.wav"
    soundfile.write(path, mixed(spoken(0.5, "sixty", 0.5), 40), 16_000)
    return path


def test_the_third_opinion_is_asked_where_its_weights_are_unless_it_is_not_wanted(
    clip: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(GeneralFolder, "installed", lambda: GeneralFolder(Path("weights")))
    monkeypatch.setattr(trial_recogniser, "GeneralMember", _Contrary)
    with_it = CliRunner().invoke(app, ["hear", str(clip), "--gate", AT_THE_ROOM, "--json"])
    assert json.loads(with_it.stdout)["does"] == "not heard"
    without = CliRunner().invoke(app, ["hear", str(clip), "--gate", AT_THE_ROOM, "--json", "--no-third-opinion"])
    assert json.loads(without.stdout)["does"] in {"asked", "taken at once"}
    assert json.loads(without.stdout)["value"] == "60"
    aloud = CliRunner().invoke(app, ["rehearse", str(PROCEDURE), "--aloud"])
    assert "0 misheard" in aloud.output
    assert "not heard at cover-off" in aloud.output


@pytest.mark.parametrize(
    "command",
    [
        ["hear", "a.wav", "b.wav"],
        pytest.param(["rehearse", str(PROCEDURE), "--aloud"], marks=pytest.mark.slow("speaks every phrase")),
        pytest.param(["words", str(PROCEDURE)], marks=pytest.mark.slow("five voices speak every phrase")),
    ],
)
def test_it_is_told_once_that_it_is_missing(
    command: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(GeneralFolder, "installed", lambda: None)
    for name in ("a.wav", "b.wav"):
        soundfile.write(name, np.zeros(1600, np.int16), 16_000)
    done = CliRunner().invoke(app, command)
    assert done.exit_code == 0, done.output
    assert done.stderr.count("No third opinion") == 1
