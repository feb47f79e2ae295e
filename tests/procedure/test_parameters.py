"""Parameters: alone or inside a text, their faults in both files, and a `$` that names none."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from fuzzing import GUEST, HOST

from handsfree.documents import Document, parse_document
from handsfree.problem import Problem
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check


def family(host: str = HOST, guest: str = GUEST) -> Procedure:
    files = {"host.yaml": host, "guest.yaml": guest}

    def read(path: Path) -> Document:
        return parse_document(files[path.name], path.name)

    return load_procedure(Path("host.yaml"), read)


def changed(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)


def test_a_parameter_inside_a_text_is_filled_in() -> None:
    """Never spoken with its dollar; a number reads as it is written."""
    procedure = family()
    assert procedure.gate("first/read").gate.texts["prompt"] == "Pressure, standing?"
    assert procedure.gate("second/read").gate.texts["title"] == "The working pressure"
    assert procedure.gate("second/judged").gate.texts["title"] == "Judged at 17.5 mbar"


def test_a_parameter_alone_keeps_its_kind() -> None:
    judging = family().gate("second/judged").gate.effects.judges
    assert judging is not None
    assert judging.limits is not None
    assert judging.limits.low == Decimal("17.5")


def test_braces_end_a_name_where_letters_follow() -> None:
    procedure = family(guest=changed(GUEST, "The $what pressure", "The ${what}-side pressure"))
    assert procedure.gate("first/read").gate.title == "The standing-side pressure"


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("The $what pressure", "The $which pressure", 12, "there is no parameter 'which'"),
        ("The $what pressure", "For $5", 12, "without a parameter's name"),
        ("Pressure, $what?", "Pressure, $what-side?", 14, "there is no parameter 'what-side'"),
        ("title: Guest", "title: Guest of $whom", 3, "there is no parameter 'whom'"),
        ("  what: standing", "  what: $least", 6, "holds no other parameter"),
        ("{readings: $what}", "{$what: standing}", 23, "holds a $"),
    ],
)
def test_a_dollar_that_names_no_parameter_is_refused_at_its_place(
    old: str, new: str, line: int, says: str
) -> None:
    with pytest.raises(Problem, match=says.replace("$", r"\$")) as caught:
        family(guest=changed(GUEST, old, new))
    assert str(caught.value.where).startswith(f"guest.yaml:{line}:")


@pytest.mark.parametrize(
    ("old", "new", "at", "used"),
    [
        ("least: 18}", "least: much}", "host.yaml:10:41", "guest.yaml:24:48"),
        ("what: standing, least", "what: Standing Up, least", "host.yaml:10:24", "guest.yaml:16:12"),
        ("what: standing, least", "what: true, least", "host.yaml:10:24", "guest.yaml:12:12"),
    ],
)
def test_a_bad_parameter_names_both_files(old: str, new: str, at: str, used: str) -> None:
    """The place where the value is written, and the one where it is used."""
    with pytest.raises(Problem) as caught:
        family(host=changed(HOST, old, new))
    assert caught.value.where == at
    assert used in caught.value.what


def test_a_proof_that_fails_by_a_parameter_names_both_files() -> None:
    """Nobody can call a pressure of 4,000 mbar."""
    guest = changed(GUEST, "{quantity: standing_pressure, low: 1", "{quantity: standing_pressure, low: $least")
    report = check(family(changed(HOST, "least: 18", "least: -4"), guest))
    found = [one for one in report.failed("sayable") if "-4" in one.what]
    assert [(one.place.file, one.place.line) for one in found] == [("host.yaml", 10)]
    assert "guest.yaml:15" in found[0].what


def test_an_unknown_quantity_given_by_a_parameter_is_refused_in_both_files() -> None:
    guest = changed(GUEST, "ask: [{quantity: standing_pressure,", "ask: [{quantity: $what,")
    with pytest.raises(Problem, match="there is no quantity 'standing'") as caught:
        family(guest=guest)
    assert str(caught.value.where).startswith("host.yaml:10:")
    assert "guest.yaml:15" in caught.value.what
