"""A stop limit that the sheets hold is found where it is said to be, or the trade is refused by file and line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from handsfree.problem import Problem
from handsfree.trades.folder import folder_of
from handsfree.trades.registry import stops_of

COOLING = Path(__file__).parents[2] / "handsfree" / "trades" / "cooling"


@pytest.mark.parametrize(
    ("old", "new", "what", "line"),
    [
        ("appliance.highest_pressure", "appliance.highest_presure", "no number 'appliance.highest_presure'", 9),
        ("appliance.highest_pressure", "job.highest_pressure", "no number 'job.highest_pressure'", 9),
        ("appliance.highest_pressure", "appliance.refrigerant", "no number 'appliance.refrigerant'", 9),
        ("appliance.highest_pressure", "appliance.superheat.high", "no number 'appliance.superheat.high'", 9),
        ("appliance.highest_pressure", "appliance.factory_charge", "in g and liquid_pressure in bar", 9),
        ("quantity: liquid_pressure", "quantity: liquid_presure", "no quantity 'liquid_presure'", 8),
    ],
)
def test_a_stop_that_points_at_nothing_is_refused(
    tmp_path: Path, old: str, new: str, what: str, line: int
) -> None:
    """It would count as a limit that the maker did not give, and no pressure would ever stop the work."""
    folder = shutil.copytree(COOLING, tmp_path / "cooling")
    file = folder / "trade.yaml"
    assert old in file.read_text("utf-8")
    file.write_text(file.read_text("utf-8").replace(old, new), "utf-8")
    with pytest.raises(Problem, match=what) as refused:
        stops_of(folder_of(folder))
    assert f"trade.yaml:{line}:" in refused.value.sentence()


def test_the_stop_that_ships_is_on_the_plate() -> None:
    (limit,) = stops_of(folder_of(COOLING)).on_sheet["liquid_pressure"]
    assert (limit.fact, limit.unit) == ("appliance.highest_pressure", "bar")
