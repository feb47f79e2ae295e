"""What an author reads when a file is wrong: plain words, the caret on the word, and never a traceback."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from fuzzing import PROCEDURES, damaged, fuzzed, jargon, sources, told_of
from workshop import PROVEN, procedure_of

from handsfree.documents import parse_document
from handsfree.editor.hover import hover
from handsfree.editor.offers import offers
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check

SEEDS = range(200)
"""The first of those that `python tests/bench/proofs/fuzz.py` tries."""


@pytest.mark.slow("many damaged files are read and proven")
def test_random_damage_is_told_in_plain_words() -> None:
    """Whatever the damage: a sentence with a file, no error of the program, no word of a library."""
    whole = sources()
    for seed in SEEDS:
        files, told = fuzzed(seed, whole)
        assert jargon(told, files) == "", (seed, files, told)


@pytest.mark.slow("a hundred damaged files")
def test_an_editor_is_helped_anywhere_in_a_damaged_file() -> None:
    """At a place drawn by lot: offers or none, a text or none, and no error."""
    whole = sources()
    for seed in range(100):
        dice = random.Random(seed)
        files = dice.choice(whole)
        lines = damaged(files[next(iter(files))], dice).split("\n")
        line = dice.randrange(len(lines))
        place = ("\n".join(lines), line, dice.randrange(len(lines[line]) + 1), PROCEDURES)
        assert isinstance(offers(*place), list)
        assert isinstance(hover(*place), str | None)


@pytest.mark.parametrize("files", sources(), ids=lambda files: next(iter(files)))
def test_what_is_damaged_is_sound_before(files: dict[str, str]) -> None:
    assert told_of(files).count("\n") == 0


def test_an_unknown_quantity_with_a_story_that_passes_its_gate_is_told(tmp_path: Path) -> None:
    """A story must be told through a gate that asks for what nobody can call."""
    text = PROVEN.replace("{quantity: standing_pressure, low: 0.1, high: 75}", "{quantity: nonesuch}", 1)
    text = text.replace("things: [rate-hold, set-point]", "things: [rate-hold]", 1)
    path = tmp_path / "sample.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(Problem, match="there is no quantity 'nonesuch'") as caught:
        check(load_procedure(path))
    line = next(n for n, one in enumerate(text.splitlines(), 1) if "nonesuch" in one)
    assert str(caught.value.where).startswith(f"{path}:{line}:")


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("done: [raised]", r"done: [restor\d]", r"(found 'restor\d')"),
        ("prompt: Hold maximum.", "prompt: true", "(found true)"),
    ],
)
def test_a_refused_value_is_told_as_the_file_has_it(old: str, new: str, found: str) -> None:
    assert found in told_of({"sample.yaml": PROVEN.replace(old, new, 1)})


def test_a_comma_without_quotes_is_told_as_that() -> None:
    """YAML takes what follows the comma for a key."""
    text = PROVEN.replace("{quantity: co2}", "{quantity: co2, as left}", 1)
    assert "a text with a comma stands in quotes" in told_of({"sample.yaml": text})


CARETS = [
    ("alters: [cover]", "alters: [lid]", "lid]"),
    ("kind: verdict", "kind: verdikt", "verdikt"),
    ("needs: {cover: fitted, rate-hold: held}", "needs: {cover: fitted, hold: held}", "hold: held}"),
    ("needs: {cover: fitted, rate-hold: held}", "needs: {cover: shut, rate-hold: held}", "shut, rate"),
    ("    at_most: 4\n    exhausted: stop-fault", "    at_most: 4\n    exhausted: nowhere", "nowhere"),
    ("    at_most: 4\n    exhausted: stop-fault", "    at_most: 4", "at_most: 4"),
    ("prompt: Hold maximum.", "promt: Hold maximum.", "promt"),
    ("id: hold\n", "id: turn\n", "turn\n"),
    ("done: [raised]", "done: [Raised!]", "Raised!]"),
    ("rate: maximum\n    dropped_back: hold", "rate: maximum", "rate: maximum"),
    ("{quantity: co2}", "{quantity: co2, low: nine}", "nine}"),
    ("outside: stop-fault, no-limit", "outside: nowhere, no-limit", "nowhere, no-limit"),
    ("calculation: supply-pressure", "calculation: supply-presure", "supply-presure"),
    ("things: [cover]\n", "things: [lid]\n", "lid]\n"),
    ("captures: set-point", "captures: setting", "setting"),
]


@pytest.mark.parametrize(("old", "new", "word"), CARETS)
def test_the_caret_stands_on_the_word(old: str, new: str, word: str) -> None:
    """Not on the gate that it stands in."""
    assert old in PROVEN
    text = PROVEN.replace(old, new, 1)
    try:
        report = check(procedure_of(text))
        where = str(report.findings[0].place)
    except Problem as problem:
        where = str(problem.where)
    line, column = (int(part) for part in where.split(":")[1:3])
    rest = "\n".join([text.splitlines()[line - 1][column - 1 :], *text.splitlines()[line:]])
    assert rest.startswith(word), rest[:40]


def test_a_stop_phrase_that_an_answer_takes_is_told_by_the_answers_name() -> None:
    report = check(procedure_of(PROVEN.replace("done: [removed]", "done: [stop work]", 1)))
    told = report.failed("can-stop")[0].what
    assert "the answer done" in told
    assert "Answer(" not in told


@pytest.mark.parametrize(
    ("text", "place", "says"),
    [
        ("a: 1\n b: 2", "2:3", "a colon stands within a text or within another key"),
        ("a:\n  - 1\n - 2", "3:2", "begins further right or left"),
        ("- a\nb: 1", "2:1", "begins further right or left"),
        ("a: 'x' y", "1:8", "does not go on from what stands before it"),
        ("a: |\nb\n", "3:1", "no colon follows this key"),
        ("a: - b", "1:4", "an entry of a list"),
        ("a: [1, 2\nb: 3", "2:2", "a bracket or a comma is missing"),
        ("a: [1,,2]", "1:7", "a bracket or a comma is missing"),
        ("a: 'open", "1:9", "a quote that was opened is not closed"),
        ('a: "x\n---\n"', "2:1", "within a quoted text"),
        ("a: 1\n\tb: 2", "2:1", "a tab stands where spaces are wanted"),
        ("a: @x", "1:4", "no text begins with '@'"),
        ("a: *x", "1:4", '"*" or "&" begins a text'),
        ("a: !<bad", "1:9", '"!" begins a text'),
        ('a: "\\q"', "1:6", "after a backslash"),
        ("a: 1\n---\nb: 2", "2:1", "a second document begins here"),
        ("a: |3x\n  t", "1:6", 'what follows "|" or ">"'),
        ("a: 1\nb: \x07", "2", "this character cannot stand in a YAML file"),
    ],
)
def test_faults_of_writing_are_told_in_an_authors_words(text: str, place: str, says: str) -> None:
    """YAML 1.2.2 forbids each: indentation (6.1), scalars (7.3.3, 8.1), flow (7.4), characters (5.1)."""
    with pytest.raises(Problem) as caught:
        parse_document(text, "sample.yaml")
    assert caught.value.where == f"sample.yaml:{place}"
    assert says in caught.value.what
    assert jargon(caught.value.sentence(), {"sample.yaml": text}) == ""
