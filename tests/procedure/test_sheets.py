"""Job sheet and appliance sheet: every fault with its sheet and line, every number as written."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handsfree.problem import Problem
from handsfree.procedure.sheets import load_sheets
from handsfree.trades.sheets import Sheets

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "handsfree" / "demo"


def sheets(folder: Path, *, old: str = "", new: str = "", of: str = "jobsheet.yaml") -> Path:
    for name in ("jobsheet.yaml", "appliance-24.yaml"):
        text = (DEMO / name).read_text(encoding="utf-8")
        if name == of and old:
            assert old in text
            text = text.replace(old, new, 1)
        (folder / name).write_text(text, encoding="utf-8")
    return folder / "jobsheet.yaml"


@pytest.mark.parametrize(
    ("of", "old", "new", "says"),
    [
        ("jobsheet.yaml", "fuel: natural gas", "fuel: peat", "no data for 'peat'"),
        (
            "jobsheet.yaml",
            "appliance: appliance-24.yaml",
            "appliance: gone.yaml",
            "no appliance sheet 'gone.yaml'",
        ),
        ("jobsheet.yaml", "appliance: appliance-24.yaml", "appliance: ../x/y.yaml", "appliance"),
        ("jobsheet.yaml", "2027-06-30", "2027-06-31", "calibrated_until"),
        ("jobsheet.yaml", "2027-06-30", "soon", "calibrated_until"),
        ("jobsheet.yaml", "co2: measured", "co2: guessed", "co2"),
        ("jobsheet.yaml", "serial: LM24A0173\n", "", "serial"),
        ("jobsheet.yaml", "altitude_metre: 120", "altitude_metre: high", "altitude_metre"),
        ("appliance-24.yaml", "low: 8.9, high: 9.9", "low: 9.9, high: 8.9", "low must be below high"),
        ("appliance-24.yaml", "low: 8.9, high: 9.9, page", "page", "give low, high or both"),
        ("appliance-24.yaml", "basis: air-free", "basis: wet", "basis"),
        ("appliance-24.yaml", "richer: clockwise", "richer: left", "richer"),
        ("appliance-24.yaml", "basis: gross", "basis: upper", "basis"),
        ("appliance-24.yaml", "maximum: 24.0", "medium: 24.0", "input_kilowatt"),
        ("appliance-24.yaml", "hold_minutes: 30", "hold_minutes: 0", "hold_minutes"),
    ],
)
def test_a_fault_in_a_sheet_is_named_with_its_line(tmp_path: Path, of: str, old: str, new: str, says: str) -> None:
    """Each fault names the sheet it stands in and its line."""
    path = sheets(tmp_path, old=old, new=new, of=of)
    with pytest.raises(Problem) as caught:
        load_sheets(path)
    assert says in str(caught.value)
    assert re.search(rf"{re.escape(of)}:\d+", str(caught.value.where))


def test_sheet_numbers_keep_their_digits(tmp_path: Path) -> None:
    """A limit of 9.90 is not rewritten as 9.9, and a quoted or a bare day is a day."""
    path = sheets(tmp_path, old="low: 8.9, high: 9.9", new="low: 8.90, high: 9.90", of="appliance-24.yaml")
    loaded, documents = load_sheets(path)
    assert str(loaded.fuel.co2["maximum"].high) == "9.90"
    assert str(loaded.job.instrument.calibrated_until) == "2027-06-30"
    assert [document.file for document in documents] == [str(path), str(tmp_path / "appliance-24.yaml")]
    bare = sheets(tmp_path, old='"2027-06-30"', new="2027-06-30")
    assert load_sheets(bare)[0].job.instrument.calibrated_until == loaded.job.instrument.calibrated_until


_EDITS = st.lists(
    st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 12), st.text(alphabet="ab:[]{}-,'\"$&*! \n09.#|")),
    min_size=1,
    max_size=3,
)


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(edits=_EDITS, of=st.sampled_from(["jobsheet.yaml", "appliance-24.yaml"]))
def test_a_damaged_sheet_is_a_sheet_or_a_problem(
    tmp_path: Path, edits: list[tuple[float, int, str]], of: str
) -> None:
    """Random cuts and insertions in a job sheet or an appliance sheet."""
    path = sheets(tmp_path)
    damaged = tmp_path / of
    text = damaged.read_text(encoding="utf-8")
    for where, length, put in edits:
        at = int(where * len(text))
        text = text[:at] + put + text[at + length :]
    damaged.write_text(text, encoding="utf-8")
    try:
        assert isinstance(load_sheets(path)[0], Sheets)
    except Problem as problem:
        assert str(tmp_path) in str(problem.where)  # noqa: PT017 - either outcome is right
