"""Whatever is in the file, the authors get a sentence with a place, soon, and never a traceback."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from workshop import PROVEN

from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check

LIMIT_S = 5.0


def outcome(path: Path) -> str:
    """Return what the authors are told; anything but a Problem is a failure of the program."""
    began = time.process_time()
    try:
        report = check(load_procedure(path))
        told = f"{len(report.findings)} findings"
    except Problem as problem:
        told = problem.sentence()
        assert "sample.yaml" in told
    assert time.process_time() - began < LIMIT_S
    return told


BAD = {
    "bomb": "a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\n",
    "anchors": PROVEN.replace("title: Sample", "title: &a Sample").replace("id: hold\n", "id: &a hold\n"),
    "tabs": PROVEN.replace("    kind", "\tkind", 1),
    "twice": PROVEN.replace("title: Sample", "title: Sample\ntitle: Again", 1),
    "list": "- 1\n- 2\n",
    "nothing": "",
    "null bytes": "handsfree: 2\0\n",
    "unicode": PROVEN.replace("title: Sample", "title: \u202eSample\u0000", 1),
    "deep": "a: " + "[" * 3000,
    "ten megabytes": PROVEN + "# " + "x" * 10_000_000,
    "long number": PROVEN.replace("at_most: 4", f"at_most: {'9' * 5000}"),
    "other types": PROVEN.replace("alters: [cover]", "alters: {cover: 1}"),
    "format braces": PROVEN.replace("prompt: Cover off.", 'prompt: "Cover {off."'),
    "attack braces": PROVEN.replace("prompt: Cover off.", 'prompt: "{job.__class__.__mro__}"'),
    "circle": PROVEN.replace("kind: finish", "kind: include\n    file: sample.yaml\n    exits: {}"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_gives_a_sentence_soon(name: str, tmp_path: Path) -> None:
    path = tmp_path / "sample.yaml"
    path.write_text(BAD[name], encoding="utf-8")
    assert outcome(path) not in {"", "0 findings"}


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10**9))
def test_a_file_with_random_damage_never_breaks_the_program(seed: int, tmp_path: Path) -> None:
    """Lines dropped, swapped, repeated and cut; values changed for others of the file, odd types and signs."""
    dice = random.Random(seed)
    lines = PROVEN.splitlines()
    for _ in range(dice.randint(1, 4)):
        at, other = dice.randrange(len(lines)), dice.randrange(len(lines))
        kind = dice.randrange(6)
        if kind == 0:
            del lines[at]
        elif kind == 1:
            lines[at], lines[other] = lines[other], lines[at]
        elif kind == 2:
            lines.insert(other, lines[at])
        elif kind == 3:
            lines[at] = lines[at][: dice.randrange(len(lines[at]) + 1)]
        elif kind == 4 and ":" in lines[at]:
            value = dice.choice(
                ["-1", "[]", "{}", "null", "'\u00e9'", "1e999", "!!python/object:x", "&a b", "*a", "{a: {b: c}}"]
            )
            lines[at] = f"{lines[at].split(':')[0]}: {value}"
        else:
            word = dice.choice(lines[other].split() or ["x"])
            lines[at] = lines[at].replace(dice.choice(lines[at].split() or ["x"]), word, 1)
    path = tmp_path / "sample.yaml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    outcome(path)
