"""Sheets belong to the trade: a fan's names no fuel, what is wrong is told as what to write."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest
from pydantic import ValidationError
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.demo.play import scenario_files
from handsfree.documents import parse_document
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.sheets import load_sheets, read_appliance_sheet, read_job_sheet
from handsfree.procedure.template import sheet_template, template
from handsfree.procedure.trades import known_trades, read_trade, trade_data
from handsfree.trades.fields import FactBlock, SheetsFile, sheets_class
from handsfree.trades.folder import folder_of
from handsfree.trades.sheets import MakerBand

ROOT = Path(__file__).parents[2]
FAN = ROOT / "handsfree" / "trades" / "ventilation" / "example"
JARGON = re.compile(
    r"instance|Input should|Extra inputs|Field required|validation|isoformat|ge=|Decimal|valid (string|int)"
)


def fan(folder: Path, *, old: str = "", new: str = "", of: str = "jobsheet.yaml") -> Path:
    """Write the fan's two sheets, one of them changed; return the job sheet."""
    for name in ("jobsheet.yaml", "fan.yaml"):
        text = (FAN / name).read_text(encoding="utf-8")
        if name == of and old:
            assert old in text
            text = text.replace(old, new, 1)
        (folder / name).write_text(text, encoding="utf-8")
    return folder / "jobsheet.yaml"


def test_a_fans_sheets_load_without_fuel_or_analyser(tmp_path: Path) -> None:
    sheets, _ = load_sheets(fan(tmp_path))
    assert not hasattr(sheets.job, "fuel")
    assert [one.name for one in sheets.job.measuring] == ["Flow hood"]
    assert str(sheets.job.calibrated_until) == "2027-06-30"
    assert sheets.own_facts() == {
        "the dwelling": "existing",
        "whole-dwelling air flow of the design (L/s)": "27",
    }


@pytest.mark.parametrize(
    ("of", "old", "new", "says"),
    [
        ("jobsheet.yaml", "dwelling: existing", "dwelling: old", "dwelling: write one of: 'new', 'existing'"),
        (
            "jobsheet.yaml",
            "design_air_flow: 27",
            "design_air_flow: much",
            "design_air_flow: write a number, such as 8.5",
        ),
        (
            "jobsheet.yaml",
            "design_air_flow: 27",
            'design_air_flow: "27"',
            "design_air_flow: write a number, such as 8.5",
        ),
        ("jobsheet.yaml", "design_air_flow: 27", "design_air_flow: 900", "design_air_flow: write 200 or less"),
        ("jobsheet.yaml", "design_air_flow: 27", "fuel: natural gas", "fuel: there is no such key here"),
        ("jobsheet.yaml", '"2027-06-30"', "30/06/2027", "write the day as year-month-day, such as 2027-06-30"),
        ("jobsheet.yaml", "trade: ventilation", "trade: masonry", "there is no trade 'masonry'"),
        ("jobsheet.yaml", "serial: BR60F0042", "serial: 42", "serial: write text; put it in quotes"),
        ("jobsheet.yaml", "site: Orchard House\n", "", "site: this is lacking: write it"),
        ("fan.yaml", "trade: ventilation", "trade: combustion", "this is lacking"),
        ("fan.yaml", "{low: 8, high: 60, page: 12}", "{low: 60, high: 8, page: 12}", "low must be below high"),
        ("fan.yaml", "{high: 25, page: 13}", "{page: 13}", "give low, high or both"),
        ("fan.yaml", "{high: 25, page: 13}", "25", "high_rate_power: write keys with values below it"),
        ("fan.yaml", "page: 13}", "page: 13.5}", "page: write a whole number"),
        ("fan.yaml", "isolation: isolator beside the fan, locked off\n", "", "isolation: this is lacking"),
    ],
)
def test_a_fault_is_told_with_its_line_and_what_to_write(
    tmp_path: Path, of: str, old: str, new: str, says: str
) -> None:
    """No word of the library that finds it: nobody knows an "instance of Decimal"."""
    with pytest.raises(Problem) as caught:
        load_sheets(fan(tmp_path, old=old, new=new, of=of))
    assert says in caught.value.sentence()
    assert re.search(rf"{re.escape(of)}:\d+", str(caught.value.where))
    assert not JARGON.search(caught.value.sentence())


@pytest.mark.slow("many damaged sheets")
def test_no_fault_of_a_combustion_sheet_is_told_in_the_librarys_words(tmp_path: Path) -> None:
    """Every value of both sheets made a list, a text, a number: whatever is refused is told plainly."""
    told: list[str] = []
    for name in ("jobsheet.yaml", "appliance-24.yaml"):
        lines = (ROOT / "handsfree" / "demo" / name).read_text("utf-8").splitlines()
        for number, line in enumerate(lines):
            for value in ("[1, 2]", "{a: 1}", "what", "-99999", "true", ""):
                changed = re.sub(r"^(\s*\w+:) .*$", rf"\1 {value}", line)
                for other in ("jobsheet.yaml", "appliance-24.yaml"):
                    text = (ROOT / "handsfree" / "demo" / other).read_text("utf-8")
                    (tmp_path / other).write_text(text, "utf-8")
                (tmp_path / name).write_text("\n".join([*lines[:number], changed, *lines[number + 1 :]]), "utf-8")
                try:
                    load_sheets(tmp_path / "jobsheet.yaml")
                except Problem as problem:
                    told.append(problem.sentence())
    assert len(told) > 100
    assert [sentence for sentence in told if JARGON.search(sentence)] == []


def test_sheets_of_two_trades_are_not_put_together(tmp_path: Path) -> None:
    path = fan(tmp_path)
    boiler = (ROOT / "handsfree" / "demo" / "appliance-24.yaml").read_text("utf-8")
    (tmp_path / "fan.yaml").write_text(boiler, "utf-8")
    with pytest.raises(Problem, match="the appliance sheet is of combustion, and the job sheet of ventilation"):
        load_sheets(path)


def test_a_sheet_that_names_no_trade_is_of_combustion() -> None:
    """Those were written before there were others."""
    assert "trade" not in scenario_files()[0].read_text("utf-8")
    assert load_sheets(scenario_files()[0])[0].job.trade == "combustion"


def test_declared_facts_are_as_strict_as_written_classes() -> None:
    """Text, exact decimals, days, choices and bands; nothing is turned from one kind into another."""
    facts = {
        "note": FactBlock(type="text", says="a note"),
        "torque": FactBlock(type="decimal", says="a torque", unit="N.m", low=Decimal(0), high=Decimal(100)),
        "filled_on": FactBlock(type="day", says="a day"),
        "grade": FactBlock(type="choice", says="a grade", choices=("fine", "coarse")),
        "superheat": FactBlock(type="band", says="superheat", unit="K", required=False),
    }
    made = sheets_class(SheetsFile(handsfree=1, appliance=facts), "any-trade")
    sheet = made.model_fields["appliance"].annotation
    assert isinstance(sheet, type)
    good = {
        "handsfree": 1, "appliance": "A", "manual": {"file": "a.pdf", "revision": "1"}, "note": "n",
        "torque": Decimal("9.30"), "filled_on": "2026-11-25", "grade": "fine",
    }  # fmt: skip
    whole = sheet(**good)
    assert str(whole.torque) == "9.30"
    assert whole.superheat is None
    assert sheet(**good, superheat={"low": Decimal(4), "page": 3}).superheat == MakerBand(low=Decimal(4), page=3)
    wrong: dict[str, tuple[object, ...]] = {
        "note": ("", 1),
        "torque": (9.3, "9.3", Decimal(101)),
        "grade": ("bad",),
        "filled_on": ("25.11.2026", 20261125),
        "superheat": (Decimal(4),),
        "more": ("x",),
    }
    for name, values in wrong.items():
        for value in values:
            with pytest.raises(ValidationError):
                sheet(**{**good, name: value})
    for name in ("note", "torque", "filled_on", "grade"):
        with pytest.raises(ValidationError):
            sheet(**{key: value for key, value in good.items() if key != name})


@pytest.mark.parametrize(
    ("declared", "told"),
    [
        ({"type": "decimal", "says": "a number"}, "need a unit"),
        ({"type": "text", "says": "a text", "unit": "K"}, "need a unit"),
        ({"type": "choice", "says": "a choice", "choices": ["one"]}, "two or more choices"),
        ({"type": "text", "says": "a text", "low": 1}, "only a decimal"),
        ({"type": "table", "says": "a table"}, "write one of"),
    ],
)
def test_a_wrong_declaration_is_told_with_its_line(tmp_path: Path, declared: dict[str, object], told: str) -> None:
    folder = a_trade(tmp_path)
    text = f"handsfree: 1\njob:\n  fact: {declared}\n".replace("'", "")
    (folder / "sheets.yaml").write_text(text, "utf-8")
    with pytest.raises(Problem, match=told) as caught:
        read_trade(folder_of(folder))
    assert "sheets.yaml:3" in str(caught.value.where)


def a_trade(folder: Path) -> Path:
    """Return a copy of ventilation under another name, as a trade that only has data."""
    made = folder / "masonry"
    made.mkdir()
    for name in ("trade.yaml", "quantities.yaml", "english.yaml", "sheets.yaml", "hazards.yaml", "template.yaml"):
        text = (FAN.parent / name).read_text("utf-8").replace("trade: ventilation", "trade: masonry")
        (made / name).write_text(text, "utf-8")
    return made


def test_a_trade_without_hazards_is_refused_by_name(tmp_path: Path) -> None:
    """What follows each stop is never left out unseen."""
    folder = a_trade(tmp_path)
    (folder / "hazards.yaml").unlink()
    with pytest.raises(Problem, match="'masonry' has no hazards") as caught:
        read_trade(folder_of(folder))
    assert str(caught.value.where) == f"{folder / 'trade.yaml'}:1"


def test_a_trade_of_data_alone_is_read(tmp_path: Path) -> None:
    trade = read_trade(folder_of(a_trade(tmp_path)))
    assert trade.name == "masonry"
    assert trade.sheets.__name__ == "MasonrySheets"


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("trade.yaml", "fires: false", "fires: perhaps", "fires: write true or false"),
        ("trade.yaml", "fires: false", "fires: false\ntaken_back: [co2]", "there is no quantity 'co2'"),
        ("trade.yaml", "trade: masonry", "trade: ventilation", "but its folder 'masonry'"),
        ("quantities.yaml", "usual: 9.5", "usual: 950", "usual and unusual values must lie between low and high"),
        ("quantities.yaml", "low: 0, high: 500", "low: 500, high: 0", "low must be below high"),
        ("sheets.yaml", "  isolation:", "  manual:", "the appliance sheet of every trade has manual already"),
    ],
)
def test_a_fault_in_a_trade_is_told_with_its_line(
    tmp_path: Path, file: str, old: str, new: str, told: str
) -> None:
    folder = a_trade(tmp_path)
    text = (folder / file).read_text("utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(Problem) as caught:
        read_trade(folder_of(folder))
    assert told in caught.value.what
    assert re.search(rf"{file}:\d+", str(caught.value.where))


@pytest.mark.parametrize("name", known_trades())
def test_the_procedure_to_start_from_is_proven(tmp_path: Path, name: str) -> None:
    path = tmp_path / f"new-{name}.yaml"
    path.write_text(template(path.stem, name), "utf-8")
    assert [finding.what for finding in check(load_procedure(path)).findings] == []


@pytest.mark.parametrize("name", known_trades())
@pytest.mark.parametrize("sheet", ["job", "appliance"])
def test_a_sheet_to_start_from_has_every_fact_and_passes_only_when_it_is_filled_in(name: str, sheet: str) -> None:
    text = sheet_template(sheet, name)
    read = read_job_sheet if sheet == "job" else read_appliance_sheet
    with pytest.raises(Problem, match="write"):
        read(parse_document(text, "new.yaml"))
    model = trade_data(name).sheets.model_fields[sheet].annotation
    assert isinstance(model, type)
    written = set(re.findall(r"^(?:# )?([a-z_]+[0-9]?):", text, re.MULTILINE))
    assert written == set(model.model_fields)  # type: ignore[attr-defined]


def test_a_filled_in_sheet_passes_with_what_need_not_be_given_too() -> None:
    """Every `#` before a line taken away and every value written: the form itself is right."""
    text = sheet_template("appliance", "ventilation")
    bare = "\n".join(line.removeprefix("# ").split("  # ")[0].rstrip() for line in text.splitlines()[1:])
    bare = bare.replace("NAME:", "cycle:")
    bare = bare.replace("version:", "version: 1.0.0")
    filled = re.sub(r"^( +low):$", r"\1: 1", bare, flags=re.MULTILINE)
    filled = re.sub(r"(high|page|minutes|(?<!times_)seconds|cycle):$", r"\1: 2", filled, flags=re.MULTILINE)
    filled = re.sub(
        r"^((?!manual|high_rate|times_seconds)\S+|  (?:file|revision)):$", r"\1: some", filled, flags=re.MULTILINE
    )
    assert read_appliance_sheet(parse_document(filled, "new.yaml")).hold_minutes == 2


def test_a_fans_job_sheet_is_made_by_asking_and_a_wrong_answer_is_asked_again(tmp_path: Path) -> None:
    """No answer is lost by a wrong one after it, and nothing of a boiler is asked."""
    fan(tmp_path)
    new = tmp_path / "new.yaml"
    answers = ["j-1", "Orchard House", "Ines Demoville", "invented", "SN1", "high", "400 ft", "n", "n", "y",
               "Flow hood", "FH1", "05/06/2027", "30/06/2027", "n", "n", "", "", "", "old", "existing",
               "27"]  # fmt: skip
    command = ["jobsheet", str(new), "--new", "--appliance", str(tmp_path / "fan.yaml")]
    told = CliRunner().invoke(app, command, input="\n".join(answers) + "\n")
    assert told.exit_code == 0, told.output
    assert "'high' cannot stand: write a number" in told.output
    assert "'05/06/2027' cannot stand: 05/06/2027 may be two days" in told.output
    assert "'old' cannot stand: write one of: new, existing" in told.output
    assert "fuel" not in told.output.lower()
    job = load_sheets(new)[0].job
    assert (job.altitude_metre, str(job.calibrated_until)) == (Decimal("121.92"), "2027-06-30")


def test_a_combustion_job_sheet_is_made_with_its_meter(tmp_path: Path) -> None:
    """The meter is asked for: without it a timed input has no limit."""
    text = (ROOT / "handsfree" / "demo" / "appliance-24.yaml").read_text("utf-8")
    (tmp_path / "appliance-24.yaml").write_text(text, "utf-8")
    new = tmp_path / "new.yaml"
    answers = ["j-1", "Orchard House", "Ines Demoville", "invented", "SN1", "120", "n", "n", "n", "", "", "",
               "peat", "Analyser", "FG1", "2027-06-30", "n", "calculated", "computed", "0.3", "0.3", "20",
               "class limits",
               "y", "m3", "38.0", "gross", "the bill", "n", "natural gas"]  # fmt: skip
    command = ["jobsheet", str(new), "--new", "--appliance", str(tmp_path / "appliance-24.yaml")]
    told = CliRunner().invoke(app, command, input="\n".join(answers) + "\n")
    assert told.exit_code == 0, told.output
    assert "'calculated' cannot stand: write one of: measured, computed" in told.output
    assert "the appliance sheet has no data for 'peat'" in told.output
    job = load_sheets(new)[0].job
    assert str(job.meter.heating_value) == "38.0"  # type: ignore[attr-defined]
    assert job.fuel == "natural gas"  # type: ignore[attr-defined]
