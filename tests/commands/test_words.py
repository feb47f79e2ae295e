"""New words in one step, by the voices of the speech engine and the recogniser that ships."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.commands.tried_words import proposals, with_proposed
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check

PROCEDURE = """\
handsfree: 2
procedure: small
title: Small
purpose: Two answers.
things:
  lockshield: {said: Lockshield, altered: in, restored: out}
gates:
  - {id: close, kind: confirm, title: Lockshield in, source: a test, prompt: Close the lockshield., done: [in],
     alters: [lockshield], not_done: stop}
  - {id: made, kind: choice, title: Flowswitch, source: a test, prompt: "Flowswitch?", not_done: back,
     answers: {made: {heard: [flowswitch made], then: back}, open: {heard: [the], then: back}}}
  - {id: back, kind: restore, title: Lockshield out, source: a test, things: [lockshield]}
  - {id: finish, kind: finish, title: Finish, source: a test}
  - {id: stop, kind: stop, title: Stop, source: a test, script: Boiler off. Report it.}
"""


def written(folder: Path) -> Path:
    path = folder / "small.yaml"
    path.write_text(PROCEDURE, encoding="utf-8")
    return path


def test_words_without_a_pronunciation_get_one_that_check_then_takes(tmp_path: Path) -> None:
    procedure = load_procedure(written(tmp_path))
    assert set(proposals(procedure)) == {"lockshield", "flowswitch"}
    assert check(procedure).failed("vocabulary")
    assert not check(with_proposed(procedure)).failed("vocabulary")


@pytest.mark.slow("five voices speak a dozen phrases in noise")
def test_each_phrase_gets_a_share_and_a_weak_one_a_better_phrase(tmp_path: Path) -> None:
    path = written(tmp_path)
    done = CliRunner().invoke(app, ["words", str(path), "--least", "100", "--no-third-opinion"])
    assert done.exit_code == 1, done.output  # "the" alone is heard badly
    assert "  lockshield: L AA K SH IY L D" in done.output
    share = re.compile(r'(better: )?(\d+) % at 20 dB, (\d+) % at 10 dB: "([a-z ]+)"')
    heard = {said: (int(loud), int(low), bool(better)) for better, loud, low, said in share.findall(done.output)}
    assert sum(heard["flowswitch made"][:2]) >= 160  # a new word by its proposed sounds
    better = {said: one for said, one in heard.items() if one[2]}
    assert better
    assert all("the" in said.split() for said in better)
    assert min(sum(one[:2]) for one in better.values()) > sum(heard["the"][:2])
