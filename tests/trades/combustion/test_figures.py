"""What follows from the readings for the papers: nothing that the readings cannot show."""

from decimal import Decimal
from pathlib import Path

import handsfree.demo
from handsfree.procedure.sheets import load_sheets
from handsfree.trades.combustion.figures import flue_figures


def told(**read):
    sheets, _ = load_sheets(Path(handsfree.demo.__file__).with_name("jobsheet.yaml"))
    values = {name: Decimal(value) for name, value in read.items()}
    return {one.says: one for one in flue_figures(sheets, values)}


def test_excess_air_and_efficiency_need_oxygen():
    """A CO2 below the ultimate one occurs on either side of no excess air: the mass balance has two solutions."""
    beside = {"co": "60", "flue_temperature": "60", "air_temperature": "20"}
    both = told(co2="9.4", o2="4.2", **beside)
    alone = told(co2="9.4", **beside)
    assert both.keys() == alone.keys()
    assert float(both["Excess air"].value) > 0
    for name in ("Excess air", "Efficiency by flue gas, gross"):
        assert (alone[name].value, alone[name].unit) == ("not told", "")
        assert alone[name].source.startswith("needs O₂")
    assert alone["CO/CO₂"] == both["CO/CO₂"]
