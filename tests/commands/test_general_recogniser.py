"""Which commands ask the third opinion: by default where its weights are, and told in one sentence where not."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.commands.general_recogniser import plan_to_ask
from handsfree.commands.visit_options import VisitOptions
from handsfree.hearing.general.weights import GeneralFolder, GeneralPlan
from handsfree.problem import Problem
from handsfree.procedure.languages import english


@pytest.fixture(params=[True, False])
def installed(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> bool:
    folder = GeneralFolder(Path("weights")) if request.param else None
    monkeypatch.setattr(GeneralFolder, "installed", lambda: folder)
    return bool(request.param)


def test_it_is_asked_by_default_where_its_weights_are_and_else_told_how_to_get_them(
    installed: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    assert VisitOptions().ask_general
    plan = plan_to_ask(english(), asked=VisitOptions().ask_general, folder=None)
    told = capsys.readouterr().err
    if installed:
        assert isinstance(plan, GeneralPlan)
        assert plan.folder.path == Path("weights")
        assert not told
    else:
        assert plan is None
        assert "pip install handsfree[general-ears]" in told
        assert told.count("\n") == 1


def test_who_does_not_want_it_is_told_nothing(installed: bool, capsys: pytest.CaptureFixture[str]) -> None:
    assert plan_to_ask(english(), asked=False, folder=None) is None, installed
    assert not capsys.readouterr().err


def test_a_folder_that_is_named_must_hold_weights(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="lacks"):
        plan_to_ask(english(), asked=True, folder=tmp_path)
