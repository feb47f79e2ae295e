"""What may be written at the cursor, and what is said of a word, in files that are whole and that are not."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.editor.hover import hover
from handsfree.editor.offers import offers
from handsfree.gates import GATE_KINDS
from handsfree.procedure.documentation import language_text, summary_of

FOLDER = Path(__file__).parents[2] / "procedures"
HEAD = """\
handsfree: 2
procedure: small
title: Small
purpose: One temperature, judged.
trade: plumbing
proves: [{says: hot enough, by: [judged]}]
exits: [good]
things:
  cover: {said: Cover, altered: removed, restored: fitted}
gates:
  - id: read
    kind: readings
    title: Temperature
    prompt: Temperature?
    ask: [{quantity: outlet_temperature}]
    point: hot
  - id: judged
    kind: verdict
    title: Judged
    calculation: reading-in-limits
    using: {readings: hot}
    branches: {within: exit good, outside: last, missing: last}
  - {id: last, kind: finish, title: Finish}
"""


def offered(written: str, text: str = HEAD) -> list[str]:
    """Return what is offered at the `|` of a text that is appended, or stands in place of a line of the head."""
    whole = text + written
    before, _, after = whole.partition("|")
    lines = before.split("\n")
    return [offer.text for offer in offers(before + after, len(lines) - 1, len(lines[-1]), FOLDER)]


NEW = "  - id: new\n"
EXAMPLES = [
    ("kind: |\n", {"confirm", "verdict", "wait", "include"}),
    ("kind: ver|\n", {"verdict"}),
    ("kind: confirm\n    |", {"prompt", "done", "alters", "needs", "not_done"}),
    ("kind: confirm\n    al|\n  - {id: other, kind: finish}\n", {"alters"}),
    ("kind: confirm\n    alters: [|", {"cover"}),
    ("kind: confirm\n    alters:\n      - |", {"cover"}),
    ("kind: confirm\n    needs:\n      |", {"cover"}),
    ("kind: confirm\n    needs: {cover: |", {"removed", "fitted"}),
    ("kind: confirm\n    then: |", {"read", "judged", "last", "exit good"}),
    ("kind: confirm\n    firing: |", {"true", "false"}),
    ("kind: readings\n    ask: [{quantity: |", {"outlet_temperature"}),
    ("kind: readings\n    ask:\n      - |", {"quantity", "low", "high", "decimals"}),
    ("kind: readings\n    settle: {|", {"wait_seconds", "sets", "source"}),
    ("kind: verdict\n    calculation: |", {"reading-in-limits", "instrument-in-date"}),
    ("kind: verdict\n    calculation: reading-in-limits\n    branches: {|", {"within", "too-close", "missing"}),
    ("kind: verdict\n    calculation: reading-in-limits\n    branches:\n      within: |", {"last", "exit good"}),
    ("kind: verdict\n    calculation: reading-in-limits\n    using: {|", {"readings"}),
    ("kind: verdict\n    calculation: reading-in-limits\n    using: {readings: |", {"hot"}),
    ("kind: choice\n    answers: {yes: {|", {"heard", "then", "note"}),
    ("kind: stop\n    hazard: |", {"fire", "burn"}),
    ("kind: confirm\n    when: {|", {"appliance.store", "job.people_at_risk", "judged"}),
    ("kind: confirm\n    when: {appliance.store: |", {"stored", "instantaneous"}),
    ("kind: confirm\n    when: {appliance.store: [stored, |", {"instantaneous"}),
    ("kind: confirm\n    when:\n      judged: |", {"within", "outside", "not done", "not come to"}),
    ("kind: include\n    when: {|", {"appliance.store"}),
    ("kind: include\n    file: |", {"outlet-temperature.yaml"}),
    ("kind: include\n    file: outlet-temperature.yaml\n    exits: {|", {"read", "not-read"}),
]


@pytest.mark.parametrize(("written", "wanted"), EXAMPLES)
def test_what_may_stand_there_is_offered(written: str, wanted: set[str]) -> None:
    assert wanted <= set(offered(f"{NEW}    {written}"))


def test_what_may_not_stand_there_is_not_offered() -> None:
    assert "supply_pressure" not in offered(NEW + "    kind: readings\n    ask: [{quantity: |")  # another trade's
    assert set(offered(NEW + "    kind: confirm\n    needs: {cover: |")) == {"removed", "fitted"}
    assert "title" not in offered(NEW + "    kind: confirm\n    title: A title\n    |")  # it is there already
    assert "low" not in offered(NEW + "    kind: confirm\n    |")
    assert offered("# a remark |") == []


def test_every_kind_and_key_of_the_language_is_offered_somewhere() -> None:
    kinds = set(offered(NEW + "    kind: |"))
    assert {summary_of(kind)[0] for kind in GATE_KINDS} | {"include"} == kinds
    for kind in GATE_KINDS:
        keys = set(kind.model_fields) - {"id", "kind"}
        assert keys <= set(offered(f"{NEW}    kind: {summary_of(kind)[0]}\n    |")), kind


HOVERS = [
    ("quantity: outlet", "in `Cel`, 1 digits after the point"),
    ("title: Judged", "What it is, in a few words"),
    ("hot}", "read at read"),
    ("last, missing", "Finish (finish)"),
    ("within: exit", "an outcome of reading-in-limits"),
    ("restored: fitted", "The word for its state as found"),
]


@pytest.mark.parametrize(("word", "says"), HOVERS)
def test_a_word_is_explained(word: str, says: str) -> None:
    line = next(number for number, one in enumerate(HEAD.splitlines()) if word in one)
    column = HEAD.splitlines()[line].index(word) + (len("quantity: o") if word.startswith("quantity") else 1)
    assert says in (hover(HEAD, line, column, FOLDER) or "")


def test_a_kind_and_a_calculation_are_explained_as_on_the_page() -> None:
    page = language_text()
    kind = next(number for number, one in enumerate(HEAD.splitlines()) if "kind: verdict" in one)
    told = hover(HEAD, kind, 12, FOLDER) or ""
    assert "| `calculation` |" in told
    assert told.strip() in page
    calculation = hover(HEAD, kind + 2, 20, FOLDER) or ""
    assert "`too-close`" in calculation
    assert hover("handsfree: [", 0, 3, FOLDER) is None
