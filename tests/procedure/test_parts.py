"""The page of visits and parts is the one that the files give; parts keep their ids on request."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.problem import Problem
from handsfree.procedure.parts import parts_text, used_parts
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.shipped import shipped_procedures

PROCEDURES = Path(__file__).parents[2] / "procedures"


@pytest.fixture(scope="module")
def shipped() -> list[Procedure]:
    """Every procedure that ships, read once."""
    return [load_procedure(file) for file in shipped_procedures()]


def test_the_page_is_what_the_files_give(shipped: list[Procedure]) -> None:
    """Written anew with `handsfree parts procedures/*.yaml --into procedures/VISITS.md`."""
    assert (PROCEDURES / "VISITS.md").read_text("utf-8") == parts_text(shipped)


def test_every_part_is_used_by_a_visit(shipped: list[Procedure]) -> None:
    """A part that no visit puts in is not shipped."""
    known = [used_parts(one) for one in shipped]
    used = {name for one in known if not one.is_part for name in one.uses}
    assert {one.procedure.name for one in known if one.is_part} <= used


PART = """handsfree: 2
procedure: part-{name}
title: Part
purpose: A part.
exits: [done]
gates:
  - id: look-{name}
    kind: choice
    title: Look
    source: common practice, no source
    prompt: "In order, or faulty?"
    answers:
      in-order: {{heard: [in order], then: exit done}}
      faulty: {{heard: [faulty], then: stop-fault}}
    not_done: stop-fault
  - {{id: stop-fault, kind: stop, title: Fault, source: common practice, script: {script}}}
"""
WHOLE = """handsfree: 2
procedure: whole
title: Whole
purpose: Two parts.
gates:
  - {id: one, kind: include, file: part-one.yaml, own_ids: true, exits: {done: two}}
  - {id: two, kind: include, file: part-two.yaml, own_ids: true, exits: {done: finish}}
  - {id: finish, kind: finish, title: Finish, source: common practice}
"""


def written(folder: Path, second_script: str) -> Path:
    """Write two parts that share a stop, and the procedure that includes them."""
    for name, script in (("one", "Leave it off."), ("two", second_script)):
        (folder / f"part-{name}.yaml").write_text(PART.format(name=name, script=script), "utf-8")
    (folder / "whole.yaml").write_text(WHOLE, "utf-8")
    return folder / "whole.yaml"


def test_a_part_keeps_its_ids_and_a_stop_written_alike_is_one_gate(tmp_path: Path) -> None:
    procedure = load_procedure(written(tmp_path, "Leave it off."))
    assert list(procedure.gates) == ["look-one", "stop-fault", "look-two", "finish"]
    assert check(procedure).proven


def test_a_stop_written_otherwise_is_refused_with_both_files(tmp_path: Path) -> None:
    with pytest.raises(Problem, match=r"'stop-fault' stands in .*part-one\.yaml too") as caught:
        load_procedure(written(tmp_path, "Boiler off."))
    assert "part-two.yaml:16" in caught.value.sentence()


def test_a_part_begins_with_things_altered(tmp_path: Path) -> None:
    """Without `begins` its need is unmet; a state that is none of the thing's is refused."""
    text = (PROCEDURES / "gas-on.yaml").read_text("utf-8")
    path = tmp_path / "gas-on.yaml"
    begins = "begins: {power: isolated, lock: fitted, gas-cock: closed}\n"
    assert begins in text
    path.write_text(text.replace(begins, ""), "utf-8")
    assert {one.proof for one in check(load_procedure(path)).findings} == {"needs"}
    path.write_text(text.replace("gas-cock: closed}\nexits", "gas-cock: ajar}\nexits"), "utf-8")
    with pytest.raises(Problem, match="no thing 'gas-cock' can be 'ajar'"):
        load_procedure(path)
