"""The proofs are tried on damaged procedures, taken evenly from every damage that the language's model allows."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from mutants import KINDS, Mutant, documents_of, load_mutant, mutants
from workshop import PROVEN, procedure_of

from handsfree.documents import parse_document
from handsfree.problem import Problem
from handsfree.procedure.comparison import changes
from handsfree.procedure.file import LANGUAGE_VERSION
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import first_failure
from handsfree.procedure.proofs.dangers import dangers

VISIT = Path(__file__).parents[2] / "procedures" / "two-rate-combustion.yaml"
EVERY = 293
proven = pytest.mark.slow("dozens of damaged procedures are proven whole")

ALWAYS_CAUGHT = (
    *("near-homophone in done", "near-homophone in answers", "hazard phrase in prompt", "hazard phrase in script"),
    *("drop source", "empty source", "action last", "longer prompt", "longer script"),
    *("drop entry of branches", "drop entry of using", "rename calculation", "wrong state in needs"),
)
"""Damages of which none may ever get past the proofs."""


@pytest.fixture(scope="module")
def tried() -> list[tuple[Mutant, str | None, Procedure | None]]:
    documents = documents_of(VISIT)
    results: list[tuple[Mutant, str | None, Procedure | None]] = []
    for number, mutant in enumerate(mutants(documents[VISIT.resolve()], english())):
        if number % EVERY:
            continue
        try:
            damaged = load_mutant(VISIT, VISIT, mutant, documents)
        except Problem:
            results.append((mutant, "does not load", None))
            continue
        failure = first_failure(damaged)
        results.append((mutant, None if failure is None else failure[0], damaged))
    return results


@proven
def test_most_damages_are_caught_and_by_many_different_proofs(tried) -> None:
    """The whole score is printed by tests/bench/proofs/mutation.py; here it may not fall below what it was."""
    caught = Counter(proof for _, proof, _ in tried if proof)
    whole = load_procedure(VISIT)
    same = sum(
        proof is None and damaged is not None and not changes(whole, damaged) for _, proof, damaged in tried
    )
    assert sum(caught.values()) / (len(tried) - same) > 0.75
    assert len(caught) >= 8


@proven
def test_no_damage_of_the_worst_kinds_survives(tried) -> None:
    alive = [str(mutant) for mutant, proof, _ in tried if proof is None and mutant.damage in ALWAYS_CAUGHT]
    assert alive == []


@proven
def test_a_survivor_that_allows_more_is_a_lost_guard_or_a_skipped_step(tried) -> None:
    """What the proofs cannot know from one file: which steps the trade demands, and needs that hold anyway.

    Every such survivor is named by the comparison with the undamaged file.
    """
    whole = load_procedure(VISIT)
    known = (
        "no longer needs",
        "can finish without",
        "is gone",
        "can be entered with",
        "may be entered more often",
    )
    known += (
        "takes a coarser time",
        "no longer asks for",
        "no longer alters",
        "leads on to",
        "is no alarm",
        "can be passed by",
    )
    for mutant, proof, damaged in tried:
        if proof is None and damaged is not None:
            found = dangers(whole, damaged)
            assert all(any(kind in danger for kind in known) for danger in found), (str(mutant), found)


@pytest.mark.slow("hundreds of damages are made")
def test_damages_come_from_the_model_and_reach_every_kind_of_gate() -> None:
    """Each field of each kind of gate used in the sample is damaged somehow, its name and title apart."""
    document = parse_document(PROVEN, "sample.yaml")
    made = list(mutants(document, english()))
    kinds = {gate["id"]: gate["kind"] for gate in document.content["gates"]}
    damaged = {(kinds[m.gate], m.key.split(".")[0]) for m in made if m.gate in kinds and m.key}
    for gate in document.content["gates"]:
        for field in gate:
            if field not in {"id", "kind", "title"}:
                assert (gate["kind"], field) in damaged
    assert set(KINDS) >= set(kinds.values())


def test_a_mutant_differs_from_its_origin_in_one_step() -> None:
    document = parse_document(PROVEN, "sample.yaml")
    for mutant in mutants(document, english()):
        assert mutant.content != document.content
        assert mutant.content["procedure"] == document.content["procedure"]


def test_every_field_of_the_language_has_a_damage_for_its_type() -> None:
    """A new field in the model is walked without a change here: none of the annotations is unknown."""
    fields = {name for kind in KINDS.values() for name in kind.model_fields}
    assert {"needs", "at_most", "limits", "captures"} <= fields
    assert LANGUAGE_VERSION == 2
    assert procedure_of(PROVEN).name == "sample"
