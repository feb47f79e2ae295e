"""The machine of gates is the one place that knows an edge: without it visit, drawing and proofs fail alike."""

from __future__ import annotations

import ast
import re
from collections.abc import Mapping
from pathlib import Path

import pytest
from rehearsed import PROCEDURE, shipped

from handsfree.procedure import flattening, moves
from handsfree.procedure.mermaid import mermaid
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check

LOST, OUTCOME = "analyser-date", "within"
"""The gate that has lost the way of this outcome."""

PACKAGE = Path(__file__).parents[2] / "handsfree"


class OneEdgeLess(moves.Moves):
    """A machine that has lost an edge of the visit."""

    def __init__(self, transitions: Mapping[str, Mapping[str, str]]) -> None:
        kept = {name: to for name, to in transitions[LOST].items() if name != OUTCOME}
        super().__init__({**transitions, LOST: kept})


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch) -> Procedure:
    """The shipped visit with that machine."""
    monkeypatch.setattr(flattening, "Moves", OneEdgeLess)
    return load_procedure(PROCEDURE)


def test_one_module_imports_the_library() -> None:
    """Everybody else asks `Moves`."""
    found = []
    for file in PACKAGE.rglob("*.py"):
        text = file.read_text("utf-8")
        for node in ast.walk(ast.parse(text)) if re.search(r"(from|import)\s+transitions", text) else ():
            named = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            named += [one.name for one in node.names] if isinstance(node, ast.Import) else []
            if any(name.split(".")[0] == "transitions" for name in named):
                found.append(file.name)
    assert found == ["moves.py"]


def test_a_move_leads_where_its_edge_does() -> None:
    """As every gate of the shipped visit says."""
    for gate_id, placed in shipped().procedure.gates.items():
        for outcome, to in placed.transitions.items():
            assert shipped().move(gate_id, outcome) == to


def test_without_an_edge_the_visit_cannot_take_it(broken: Procedure) -> None:
    """The move is refused."""
    with pytest.raises(moves.MachineError):
        broken.moves.move(LOST, OUTCOME)


def test_without_an_edge_it_is_not_drawn(broken: Procedure) -> None:
    """One arrow fewer."""
    whole = mermaid(shipped().procedure)
    assert mermaid(broken).count("-->") == whole.count("-->") - 1


@pytest.mark.slow("whole procedures are proven without each edge")
def test_without_an_edge_the_proofs_fail(broken: Procedure) -> None:
    """The outcome leads nowhere."""
    assert [finding.gate for finding in check(broken).failed("branches")] == [LOST]
