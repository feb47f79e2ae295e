"""What accuracy to expect, read from a made-up measurement."""

import json
from pathlib import Path

import pytest

from handsfree.hearing.expectation import Accuracy, accuracy_of, in_words
from handsfree.hearing.model_folder import ModelFolder
from handsfree.problem import Problem

MADE_UP = {
    "measured": "2026-11-25",
    "model": "abc",
    "levels_db": [0, 5, 10, 15, 20],
    "kinds": {
        "single words": {"right": [20, 50, 80, 90, 98], "of": [100, 100, 100, 100, 100]},
        "readings": {"right": [1, 4, 9, 19, 40], "of": [10, 10, 10, 20, 40]},
    },
}


def made_up(**change):
    return Accuracy.model_validate_json(json.dumps({**MADE_UP, **change}))


@pytest.mark.parametrize(
    ("ratio_db", "share"), [(-10, 0.2), (0, 0.2), (2.5, 0.35), (5, 0.5), (12.5, 0.85), (20, 0.98), (35, 0.98)]
)
def test_between_the_levels_a_straight_line_beyond_them_level(ratio_db, share):
    """Worked out by hand from the counts above."""
    assert made_up().share("single words", ratio_db) == pytest.approx(share)


def test_the_sentence_names_each_kind_and_the_day():
    assert made_up().sentence(10) == (
        "Expect about 8 of 10 single words, about 9 of 10 readings right at the first call (measured 2026-11-25)."
    )


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (1.0, "about 99 of 100"),
        (0.984, "about 98 of 100"),
        (0.95, "about 95 of 100"),
        (0.949, "about 9 of 10"),
        (0.52, "about 5 of 10"),
        (0.04, "hardly any"),
    ],
)
def test_a_share_is_told_in_round_numbers_and_never_as_all(share, words):
    assert in_words(share) == words


@pytest.fixture
def model(tmp_path):
    """A folder with files that make a model, as far as its identity is concerned."""
    folder = tmp_path / "english"
    (folder / "am").mkdir(parents=True)
    (folder / "am" / "final.mdl").write_bytes(b"invented")
    return folder


def write(model: Path, content):
    (model.parent / "accuracy.json").write_text(content if isinstance(content, str) else json.dumps(content))


def test_figures_of_this_very_model_are_found(model):
    write(model, {**MADE_UP, "model": ModelFolder(model).identity})
    found = accuracy_of(model)
    assert found is not None
    assert found.share("readings", 15) == pytest.approx(0.95)


def test_without_figures_or_with_those_of_another_model_nothing_is_expected(model):
    assert accuracy_of(model) is None
    write(model, MADE_UP)
    assert accuracy_of(model) is None


@pytest.mark.parametrize(
    "content",
    [
        "",
        "[]",
        {**MADE_UP, "levels_db": [0, 5]},
        {**MADE_UP, "levels_db": [0, 5, 5, 15, 20]},
        {**MADE_UP, "kinds": {"readings": {"right": [1, 1, 1, 1, 11], "of": [10, 10, 10, 10, 10]}}},
        {**MADE_UP, "kinds": {"readings": {"right": [0, 0, 0, 0, 0], "of": [0, 0, 0, 0, 0]}}},
    ],
)
def test_a_file_that_is_no_measurement_is_a_problem(model, content):
    write(model, content)
    with pytest.raises(Problem, match="cannot be read"):
        accuracy_of(model)
