"""A whole visit of a trade that is data alone: the charge of a split unit, from typed words to the desk's list."""

from __future__ import annotations

from pathlib import Path

import pytest
from agreeing_visits import record

from handsfree.desk.dossier import Dossier, open_dossier
from handsfree.desk.evidence import AssessedAs
from handsfree.desk.paper import paper_of
from handsfree.events import decisions as ev
from handsfree.procedure.trades import trade_data
from handsfree.shipped import procedure_path

SHOWS = {
    "suction_pressure": "8.43", "suction_line_temperature": "11.6", "liquid_pressure": "24.3",
    "liquid_line_temperature": "33.4", "outdoor_temperature": "28.2", "indoor_temperature": "24.1",
    "indoor_wet_bulb": "18.1",
}  # fmt: skip
AIR = 0.98500
"""Bar, 240 m up: ISO 2533:1975 gives 984.7 mbar (from memory)."""


@pytest.fixture(scope="module")
def visit(tmp_path_factory: pytest.TempPathFactory) -> Dossier:
    """The visit on the trade's own invented sheets."""
    sheet = trade_data("cooling").example
    assert sheet is not None
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(tmp_path_factory.mktemp("state")))
        folder = record(
            tmp_path_factory.mktemp("split") / "visit", procedure_path("split-cooling-charge"), Path(sheet), SHOWS
        )
        return open_dossier(folder)


def verdict(visit: Dossier, calculation: str) -> ev.VerdictGiven:
    found = [each for _, each in visit.evidence.recorded.all(ev.VerdictGiven) if each.calculation == calculation]
    return found[-1]


def test_it_finishes_with_everything_put_back(visit: Dossier) -> None:
    """The words of the sheets, the readings of the gauges, and no turn of anything."""
    closed = visit.evidence.recorded.closed
    assert closed is not None
    assert (closed.outcome, closed.still_altered) == ("finished", ())


@pytest.mark.parametrize(
    ("calculation", "quality", "pressure", "line", "sign"),
    [
        ("superheat", 1, "suction_pressure", "suction_line_temperature", 1),
        ("subcooling", 0, "liquid_pressure", "liquid_line_temperature", -1),
    ],
)
def test_its_verdicts_agree_with_the_equation_of_state(
    visit: Dossier, calculation: str, quality: int, pressure: str, line: str, sign: int
) -> None:
    """R32 at the dew and at the bubble point by CoolProp's equation of state, within a tenth of a kelvin."""
    given = verdict(visit, calculation)
    pascal = (float(SHOWS[pressure]) + AIR) * 1e5
    from CoolProp import CoolProp  # noqa: PLC0415 - two seconds for each worker that collects the tests

    saturated = CoolProp.PropsSI("T", "P", pascal, "Q", quality, "R32") - 273.15
    expected = sign * (float(SHOWS[line]) - saturated)
    assert given.outcome == "within"
    assert float(given.numbers["value"].split()[0]) == pytest.approx(expected, abs=0.1)
    assert float(given.numbers["standard uncertainty"].split()[0]) > 0
    assert "page 31" in given.sources[0]


def test_the_list_has_no_fail_and_the_report_is_the_trades_own(visit: Dossier) -> None:
    """What cannot be told is the copy of another visit, which is not at hand here."""
    failed = [item.says for line in visit.judged for item in line.items if item.finding.result is AssessedAs.FAIL]
    assert failed == []
    assert visit.count(AssessedAs.CANNOT_TELL) <= 1
    report = paper_of(visit)
    assert report.title == "Report: Refrigerant charge of a split unit"
    told = f"{report.facts} {report.measured}".lower()
    for word in ("fuel", "gas", "co2", "combustion", "boiler"):
        assert word not in told
