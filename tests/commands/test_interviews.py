"""The interviews for both sheets: each answer checked when it is given, none ever lost, each fact explained."""

from __future__ import annotations

import json
import shutil
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from pydantic import BaseModel
from typer.testing import CliRunner

from handsfree.blocks import described_fields
from handsfree.commands.app import app
from handsfree.documents import read_document
from handsfree.problem import ExitCode
from handsfree.procedure.sheets import load_sheets, read_appliance_sheet
from handsfree.procedure.written_answers import day_written, number_written
from handsfree.shipped import procedure_path
from handsfree.trades.combustion import sheets as combustion
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder

MAKERS = Path(__file__).parents[2] / "handsfree" / "demo" / "appliance-24.yaml"

JOB = [
    ("", "j-1"),
    ("", "Orchard House"),
    ("", "Ines Demoville"),
    ("", "invented 12345, until 2027-12-31"),
    ("", "SN1"),
    ("four hundred", "400 ft"),
    ("perhaps", "yes"),
    ("x", "the office"),
    ("1", "0555 0100"),
    ("", "n"),
    ("maybe", "n"),
    ("", "0555 0112"),
    ("sometimes", "ask"),
    ("in a year", "20/11/2027"),
    ("", "natural gas"),
    ("", "Analyser"),
    ("", "FG1"),
    ("05/06/2027", "30/06/2027"),
    ("nein", "n"),
    ("calculated", "computed"),
    ("three tenths", "0.3"),
    ("0.3 bar", "0.3"),
    ("twenty", "20"),
    ("", "class limits"),
    ("gallons", "m3"),
    ("38 ft", "38.0"),
    ("nett", "gross"),
    ("", "the bill"),
    ("-", "n"),
]
"""(A wrong answer first, where there is one, the right one) of a job with its meter."""


def run(*words: str, said: list[str]) -> tuple[int, str]:
    """Return how a command ends that is answered so, and what it printed."""
    result = CliRunner().invoke(app, list(words), input="".join(f"{one}\n" for one in said))
    return result.exit_code, result.output


def with_wrong(answers: list[tuple[str, str]]) -> list[str]:
    """Return all answers, each wrong one before the right one."""
    return [text for pair in answers for text in (pair if pair[0] else pair[1:])]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with the invented maker's data."""
    (tmp_path / MAKERS.name).write_bytes(MAKERS.read_bytes())
    return tmp_path


def test_twenty_wrong_answers_lose_nothing(folder: Path) -> None:
    """Words that are no unit, day, number or choice: each question is asked again alone."""
    wrong = [pair[0] for pair in JOB if pair[0]]
    more = ["ten", "10 ft ft", "1,2,3", "10 psi", "30 feet high"]
    said = with_wrong(JOB)
    at = said.index("400 ft")
    said[at:at] = more
    assert len(wrong) + len(more) >= 20
    code, told = run("jobsheet", str(folder / "new.yaml"), "--visit", "gas-rate-check", said=said)
    assert code == 0, told
    assert told.count("cannot stand") == len(wrong) + len(more)
    job = load_sheets(folder / "new.yaml")[0].job
    assert isinstance(job, combustion.CombustionJobSheet)
    assert job.altitude_metre == Decimal("121.92")
    assert job.calibrated_until == date(2027, 6, 30)
    assert job.next_visit == date(2027, 11, 20)
    assert job.alert is not None
    assert job.meter is not None
    assert job.meter.heating_value == Decimal("38.0")
    assert not (folder / "new.yaml.answers").exists()


@pytest.mark.parametrize("given", [1, 7, 20])
def test_an_interview_that_ends_early_goes_on_where_it_was(folder: Path, given: int) -> None:
    """The input ends: what was given is kept, as it was written, and is not asked for again."""
    right = [pair[1] for pair in JOB]
    sheet = str(folder / "new.yaml")
    code, told = run("jobsheet", sheet, "--visit", "gas-rate-check", said=right[:given])
    assert code == ExitCode.LEFT_OPEN
    assert f"{given} answers are kept" in told
    kept = json.loads((folder / "new.yaml.answers").read_text("utf-8"))
    assert list(kept.values()) == right[:given]
    code, told = run("jobsheet", sheet, "--visit", "gas-rate-check", said=right[given:])
    assert code == 0, told
    assert f"Going on with {given} answers" in told


def test_back_asks_for_the_last_answer_again(folder: Path) -> None:
    said = [pair[1] for pair in JOB]
    said[2:2] = ["back", "Meadow House"]
    code, told = run("jobsheet", str(folder / "new.yaml"), "--visit", "gas-rate-check", said=said)
    assert code == 0, told
    assert load_sheets(folder / "new.yaml")[0].job.site == "Meadow House"


def test_photos_are_asked_of_where_the_visit_wants_any(folder: Path) -> None:
    """A site may forbid pictures; a visit that wants none leaves the question out."""
    right = [pair[1] for pair in JOB]
    said = [*right[: right.index("ask") + 1], "a few", "none"]
    code, told = run("jobsheet", str(folder / "new.yaml"), "--visit", "annual-service", said=said)
    assert code == ExitCode.LEFT_OPEN
    assert "'a few' cannot stand" in told
    assert json.loads((folder / "new.yaml.answers").read_text("utf-8"))["photos"] == "none"


@pytest.fixture(scope="module")
def earlier(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one visit to SN1 at Orchard House, by another technician, with a meter."""
    folder = tmp_path_factory.mktemp("earlier")
    (folder / MAKERS.name).write_bytes(MAKERS.read_bytes())
    said = [pair[1] for pair in JOB]
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(tmp_path_factory.mktemp("device")))
        assert run("jobsheet", str(folder / "old.yaml"), "--visit", "gas-rate-check", said=said)[0] == 0
        plan, kept = load_plan(procedure_path("gas-rate-check"), folder / "old.yaml")
        recorder, _ = Recorder.begin(folder / "visits" / "one", plan, kept)
        recorder.release()
    return folder / "visits"


def test_what_an_earlier_visit_knows_is_offered_and_taken_by_enter(folder: Path, earlier: Path) -> None:
    """Site, serial, altitude, whom to alert, fuel and meter; never a person, an instrument, a day, consent."""
    own = {
        "j-1": "j-2", "Ines Demoville": "Otto Demomann", "invented 12345, until 2027-12-31": "invented 77",
        "20/11/2027": "20/11/2028", "FG1": "FG2",
    }  # fmt: skip
    offered = {
        "Orchard House", "SN1", "400 ft", "yes", "the office", "0555 0100", "0555 0112", "natural gas", "m3",
        "38.0", "gross", "the bill",
    }  # fmt: skip
    said = ["" if right in offered else own.get(right, right) for right in [pair[1] for pair in JOB]]
    code, told = run(
        "jobsheet", str(folder / "new.yaml"), "--visit", "gas-rate-check", "--last-visits", str(earlier), said=said
    )
    assert code == 0, told
    job = load_sheets(folder / "new.yaml")[0].job
    assert isinstance(job, combustion.CombustionJobSheet)
    assert (job.site, job.serial, job.altitude_metre, job.fuel) == (
        "Orchard House", "SN1", Decimal("121.92"), "natural gas"
    )  # fmt: skip
    assert job.meter is not None
    assert (job.technician.name, job.instrument.serial) == ("Otto Demomann", "FG2")
    for line in told.splitlines():
        if line.endswith("Enter takes it."):
            assert not [word for word in ("Demoville", "12345", "FG1", "computed", "ask:") if word in line]


def test_nothing_is_offered_from_a_record_that_does_not_hold(folder: Path, earlier: Path, tmp_path: Path) -> None:
    """Nor is anything of the appliance for another serial; both are said or seen, and each is asked for."""
    shutil.copytree(earlier, tmp_path / "altered")
    sheet = tmp_path / "altered" / "one" / "sources" / "jobsheet.yaml"
    sheet.write_text(sheet.read_text("utf-8").replace("natural gas", "propane"), "utf-8")
    new = ("jobsheet", str(folder / "new.yaml"), "--last-visits")
    _, told = run(*new, str(tmp_path / "altered"), said=["j-2", "", "Otto", "77", "SN1", "0", "n", "n"])
    assert "one is not carried in: its record is broken" in told
    assert "propane" not in told
    (folder / "new.yaml.answers").unlink()
    right = [pair[1] for pair in JOB]
    said = ["SN9" if one == "SN1" else one for one in right[: right.index("natural gas")]]
    _, told = run(*new, str(earlier), said=said)
    assert "0555 0100. Enter takes it." in told
    assert "natural gas. Enter takes it." not in told


def test_without_makers_data_it_says_how_to_make_it(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["jobsheet", str(tmp_path / "new.yaml")])
    assert "handsfree appliance" in str(result.exception)


def test_kept_answers_that_are_none_are_refused_in_a_sentence(folder: Path) -> None:
    (folder / "new.yaml.answers").write_text("[1", "utf-8")
    result = CliRunner().invoke(app, ["jobsheet", str(folder / "new.yaml")])
    assert "the answers kept here cannot be read" in str(result.exception)


APPLIANCE = [
    ("", "Invented 30"),
    ("", "invented-30.pdf"),
    ("", "B"),
    ("soon", "180"),
    ("9.5", "30"),
    ("perhaps", "n"),  # times
    ("brutto", "gross"),
    ("", "natural gas"),
    ("ja", "y"),  # CO2 at maximum
    ("nine", "8.9"),
    ("9.9 mbar", "9.9"),
    ("p. 41", "41"),
    ("si", "y"),  # CO2 at minimum
    ("-", "8.9"),
    ("high", "9.9"),
    ("41 mbar", "41"),
    ("both", "n"),  # between the rates
    ("x", "y"),  # CO
    ("dry", "air-free"),
    ("a lot", "200"),
    ("last", "43"),
    ("oui", "y"),  # standing pressure
    ("4 ft", "4 in w.c."),
    ("14 in", "14 in w.c."),
    ("thirty", "37"),
    *[("", "n")] * 4,  # working, lock-up and meter pressure, drop
    ("24 kW", "y"),  # input at maximum
    ("30 bar", "30"),
    ("", "n"),
    ("", ""),  # no other fuel
    ("allow it", "allowed"),
    *[("", "n")] * 2,  # adjusters
    ("sometimes", "read"),  # middle rate
    ("", "y"),  # flue temperature
    ("", ""),
    ("hot", "194 F"),
    ("", "33"),
    *[("", "n")] * 6,
]


def test_makers_data_is_made_in_the_order_of_a_manual_with_its_units(tmp_path: Path) -> None:
    """Twenty wrong answers are asked again alone; inches of water and degrees Fahrenheit are converted."""
    wrong = [pair for pair in APPLIANCE if pair[0]]
    assert len(wrong) >= 20
    code, told = run("appliance", str(tmp_path / "made.yaml"), said=with_wrong(APPLIANCE))
    assert code == 0, told[-1500:]
    assert told.count("cannot stand") == len(wrong)
    sheet = read_appliance_sheet(read_document(tmp_path / "made.yaml"))
    assert isinstance(sheet, combustion.CombustionApplianceSheet)
    fuel = sheet.fuels["natural gas"]
    assert fuel.standing_pressure is not None
    # 4 in w.c. is 9.96 mbar: an inch of water is 249.089 Pa (NIST SP 811, appendix B, at 4 degrees Celsius).
    assert round(fuel.standing_pressure.low or Decimal(0), 2) == Decimal("9.96")
    assert sheet.flue_temperature_high is not None
    assert round(sheet.flue_temperature_high.high or Decimal(0), 6) == Decimal(90)


def test_it_says_which_gates_lack_a_limit_without_a_figure(tmp_path: Path) -> None:
    code, told = run("appliance", str(tmp_path / "made.yaml"), "--visit", "combustion-check", said=["Invented 30"])
    assert code == ExitCode.LEFT_OPEN
    said = ["a.pdf", "B", "", "", "n", "gross", "natural gas", "n"]
    code, told = run("appliance", str(tmp_path / "made.yaml"), "--visit", "combustion-check", said=said)
    assert 'Without co2 these gates say "no limit loaded": found-maximum-verdict' in told


def test_a_band_that_is_upside_down_is_asked_for_again(tmp_path: Path) -> None:
    """What cannot stand together is asked anew; what was answered before it is not."""
    said = ["Invented 30", "a.pdf", "B", "", "", "n", "gross", "natural gas", "y", "9.9", "8.9", "41"]
    _, told = run("appliance", str(tmp_path / "made.yaml"), said=[*said, "8.9", "9.9", "41"])
    assert "These cannot stand together: low must be below high" in told
    assert told.count("appliance (text)") == 1


MODELS = (
    combustion.CombustionJobSheet,
    combustion.CombustionApplianceSheet,
    combustion.FuelData,
    combustion.Adjuster,
    combustion.Analyser,
    combustion.GasMeter,
    combustion.RatesRule,
    combustion.CarbonMonoxideLimit,
)


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_fact_is_explained(model: type[BaseModel]) -> None:
    unexplained = [name for name, one in described_fields(model).items() if not one.description]
    assert [name for name in unexplained if name != "handsfree"] == []


@pytest.mark.parametrize(
    "text",
    [
        "2027-06-30",
        "20270630",
        "30/06/2027",
        "30.6.2027",
        "06/30/2027",
        "30 June 2027",
        "June 30, 2027",
        "30-jun-2027",
    ],
)
def test_days_are_taken_as_people_write_them(text: str) -> None:
    assert day_written(text) == date(2027, 6, 30)


@pytest.mark.parametrize("text", ["05/06/2027", "31 June 2027", "30/06/27", "tomorrow", "2027", "30/30/2027"])
def test_days_that_are_not_clear_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"day|year|month"):
        day_written(text)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("400 ft", "m", "121.92"),
        ("8,5", "mbar", "8.5"),
        ("2.0 kPa", "mbar", "20"),
        ("1 psi", "mbar", "68.9475729"),
    ],
)
def test_numbers_are_taken_with_the_unit_they_are_written_in(text: str, unit: str, value: str) -> None:
    """A foot is 0.3048 m and a pound-force per square inch 6894.757 Pa (NIST SP 811, appendix B)."""
    assert abs(number_written(text, unit) - Decimal(value)) < Decimal("0.0000001")
