"""A trade that an author brings: a folder of YAML beside their procedure, found by every command, refused by line.

`own/` holds a small one, coffee machines with a boiler. All its facts are invented for a test.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from itertools import product
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.documents import read_document
from handsfree.editor.known import KnownNames
from handsfree.editor.offers import offers
from handsfree.events import decisions as ev
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.template import trade_template
from handsfree.session.rehearsal import Rehearsal
from handsfree.visit.folder import load_plan

OWN = Path(__file__).with_name("own")
TRADE = Path("trades", "coffee-machine")
DAY = date(2026, 11, 25)


@pytest.fixture
def beside(tmp_path: Path) -> Path:
    """A copy of the author's folder; the procedure's file in it."""
    return shutil.copytree(OWN, tmp_path / "own") / "brew-check.yaml"


def changed(file: Path, old: str, new: str) -> None:
    text = file.read_text("utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), "utf-8")


def led(procedure: Path, *words: str, job: Path | None = None) -> Rehearsal:
    sheet = job or procedure.parent / TRADE / "example" / "jobsheet.yaml"
    rehearsal = Rehearsal(load_plan(procedure, sheet)[0], DAY)
    for said in words:
        rehearsal.until_asking()
        rehearsal.say(said)
    return rehearsal


READ = ("removed", "one point one", "confirmed", "nine two point five, nine oh point five", "confirmed")


def verdicts(rehearsal: Rehearsal) -> list[str]:
    return [event.outcome for event in rehearsal.events if isinstance(event, ev.VerdictGiven)]


@pytest.mark.parametrize(
    ("command", "tells"),
    [
        (["check", "brew-check.yaml"], "9 gates"),
        (["test", "brew-check.yaml", "--jobs", "1"], "3 of 3 stories go as told"),
        (["template", "new-check", "--trade", "coffee-machine"], "trade: coffee-machine"),
        (["template", "--sheet", "job", "--trade", "coffee-machine"], "one of: soft, hard"),
        (["template", "--sheet", "appliance", "--schema", "--trade", "coffee-machine"], "highest_pressure"),
        (["draw", "brew-check.yaml", "--mermaid"], "Drop judged"),
        (["compare", "brew-check.yaml", "brew-check.yaml"], "Nothing changed in meaning"),
        (["compare", "HEAD", "brew-check.yaml"], "Nothing changed in meaning"),
        (["rehearse", "brew-check.yaml", "--random", "2"], "2 explorers from seed 1: 2 finished"),
        (["jobsheet", "trades/coffee-machine/example/jobsheet.yaml"], "Brewstead 2"),
    ],
)
def test_every_command_of_an_author_finds_it(
    beside: Path, monkeypatch: pytest.MonkeyPatch, command: list[str], tells: str
) -> None:
    monkeypatch.chdir(beside.parent)
    if "HEAD" in command:
        git = ["git", "-c", "user.name=A. Author", "-c", "user.email=a@example.org"]
        for step in (["init", "-q"], ["add", "."], ["commit", "-q", "-m", "first"]):
            subprocess.run([*git, *step], check=True, timeout=30)
    done = CliRunner().invoke(app, command)
    assert done.exit_code == 0, done.output
    assert tells in done.output


def test_the_editor_knows_its_names(beside: Path) -> None:
    known = KnownNames(read_document(beside).content, beside.parent, read_document)
    assert "brew-drop" in known.calculations
    assert known.quantity("boiler_pressure").startswith("in `bar`")


def test_it_may_lie_beside_the_procedures_folder_too_and_no_further_up(beside: Path) -> None:
    inside = beside.parent / "visits" / "more"
    inside.mkdir(parents=True)
    shutil.copy(beside, inside.parent)
    shutil.copy(beside, inside)
    assert load_procedure(inside.parent / beside.name).trade.name == "coffee-machine"
    with pytest.raises(Problem, match="there is no trade 'coffee-machine'") as refused:
        load_procedure(inside / beside.name)
    assert "bring your own, in trades/coffee-machine/" in refused.value.sentence()


def test_its_formula_judges_and_its_own_limit_stops_the_work(beside: Path) -> None:
    """92.5 less 90.5 is 2.0 K, inside the sheet's 0.5 to 4; 2.3 bar is over the 1.8 of the relief valve."""
    assert verdicts(led(beside, *READ)) == ["within"]
    stopped = led(beside, "removed", "two point three", "confirmed")
    (stop,) = [event for event in stopped.events if isinstance(event, ev.Stopped)]
    assert stop.script == "Over the relief pressure. Power off at the plug. Stand back."


def test_its_own_hazard_is_heard_anywhere(beside: Path) -> None:
    visit = led(beside, "steam everywhere")
    (stop,) = [event for event in visit.events if isinstance(event, ev.Stopped)]
    assert stop.script == "Everyone back. Power off at the plug. Touch no valve."


def test_two_trades_of_one_name_are_not_mixed_up(tmp_path: Path, beside: Path) -> None:
    """Two authors in one process, by turns: the second's formula, words and sheets are other ones."""
    other = shutil.copytree(OWN, tmp_path / "other") / "brew-check.yaml"
    changed(other.parent / TRADE / "calculations.yaml", "band: appliance.brew_drop", "band: appliance.cold_drop")
    changed(other.parent / TRADE / "sheets.yaml", "  brew_drop: {", "  cold_drop: {")
    changed(other.parent / TRADE / "example" / "machine.yaml", "brew_drop: {low: 0.5", "cold_drop: {low: 3.5")
    changed(other.parent / TRADE / "english.yaml", "Everyone back.", "Everyone out.")
    changed(other.parent / TRADE / "sheets.yaml", "[soft, hard]", "[soft, hard, none]")
    for _ in range(2):
        assert verdicts(led(beside, *READ)) == ["within"]
        assert verdicts(led(other, *READ)) == ["outside"]
        one, two = load_procedure(beside), load_procedure(other)
        assert one.version() != two.version()
        assert one.catalogue.hazards["steam-burst"].script.startswith("Everyone back.")
        assert two.catalogue.hazards["steam-burst"].script.startswith("Everyone out.")
        assert one.trade.sheets is not two.trade.sheets


def test_a_change_of_its_files_is_seen_at_once(beside: Path) -> None:
    assert load_procedure(beside).trade.quantities["boiler_pressure"].high == Decimal(9)
    changed(beside.parent / TRADE / "quantities.yaml", "low: 0, high: 9", "low: 0, high: 8")
    assert load_procedure(beside).trade.quantities["boiler_pressure"].high == Decimal(8)


def test_python_in_it_is_never_run(beside: Path) -> None:
    ran = beside.parent / "ran"
    for name in ("__init__.py", "trade.py", "conftest.py"):
        (beside.parent / TRADE / name).write_text(f"open({str(ran)!r}, 'w').close()\n", "utf-8")
    assert not check(load_procedure(beside)).findings
    assert not ran.exists()


def test_the_name_of_a_trade_that_ships_is_taken(beside: Path) -> None:
    taken = beside.parent / "trades" / "plumbing"
    shutil.move(beside.parent / TRADE, taken)
    changed(taken / "trade.yaml", "trade: coffee-machine", "trade: plumbing")
    changed(beside, "trade: coffee-machine", "trade: plumbing")
    with pytest.raises(Problem, match="the name 'plumbing' is that of a trade that ships") as refused:
        load_procedure(beside)
    assert refused.value.where == f"{taken / 'trade.yaml'}:1"
    done = CliRunner().invoke(app, ["template", "--new-trade", "plumbing", "--into", str(beside.parent)])
    assert done.exit_code != 0
    assert "ships with the program" in str(done.exception)


@pytest.mark.parametrize("name", ["../own/trades/coffee-machine", "Coffee-Machine", "coffee_machine", ".", ""])
def test_a_name_leads_to_no_other_folder(beside: Path, name: str) -> None:
    job = beside.parent / TRADE / "example" / "jobsheet.yaml"
    changed(job, "trade: coffee-machine", f"trade: {name!r}")
    with pytest.raises(Problem, match="there is no trade") as refused:
        load_plan(beside, job)
    assert f"{job}:3" in str(refused.value.where)


@pytest.mark.parametrize(
    ("file", "old", "new", "line", "says"),
    [
        ("trade.yaml", "fires: false", "fires: perhaps", 5, "write true or false"),
        ("trade.yaml", "trade: coffee-machine", "trade: tea-machine", 3, "but its folder 'coffee-machine'"),
        ("trade.yaml", "appliance.highest_pressure", "appliance.pressure", 10, "the sheets hold no number"),
        ("trade.yaml", "[boiler_pressure]", "[pressure]", 6, "there is no quantity 'pressure'"),
        ("quantities.yaml", "usual: 1.1", "usual: 11", 2, "must lie between low and high"),
        ("quantities.yaml", "unit: bar", "unit: [bar", 2, "this is not valid YAML"),
        ("sheets.yaml", "type: choice", "type: chance", 4, "write one of"),
        ("calculations.yaml", "unit: K", "unit: bar", 8, "but its unit 'bar' stands for"),
        ("calculations.yaml", "- group_temperature", "- 2", 7, "does not use 'group_temperature'"),
        ("hazards.yaml", "limit: steam-burst", "limit: steam", 6, "there is no stop 'steam'"),
        ("english.yaml", "  boiler_pressure: {said", "  boiler: {said", 58, "quantities lacks boiler_pressure"),
        ("english.yaml", "script: Everyone back.", "script: Stop work.", 24, "would stop the visit"),
        ("english.yaml", "    script: Everyone back. Power off at the plug. Touch no valve.\n", "", 23, "lacking"),
        ("english.yaml", "boiler-pressure: Over", "boiler: Over", 63, "limits lacks boiler-pressure"),
        ("english.yaml", "  brew-drop: drop to the group", "  other: drop", 67, "subjects lacks brew-drop"),
        ("english.yaml", "steps:", "stepps:", 30, "stepps"),
    ],
)
def test_a_fault_in_its_files_is_told_with_its_line(
    beside: Path, file: str, old: str, new: str, line: int, says: str
) -> None:
    path = beside.parent / TRADE / file
    changed(path, old, new)
    with pytest.raises(Problem) as refused:
        load_procedure(beside)
    assert says in refused.value.what
    found = re.fullmatch(rf"{re.escape(str(path))}:(\d+)(:\d+)?", str(refused.value.where))
    assert found, refused.value.where
    assert int(found[1]) == line


@pytest.mark.parametrize("file", ["quantities.yaml", "english.yaml", "sheets.yaml", "hazards.yaml"])
def test_a_file_that_is_not_there_is_named(beside: Path, file: str) -> None:
    (beside.parent / TRADE / file).unlink()
    with pytest.raises(Problem, match=f"the trade 'coffee-machine' has no {file}") as refused:
        load_procedure(beside)
    assert refused.value.where == f"{beside.parent / TRADE / 'trade.yaml'}:1"


def test_a_new_trade_is_whole_and_its_procedure_proven(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Written by one command, it needs no change before `check` and a first visit pass."""
    monkeypatch.chdir(tmp_path)
    for command in (
        ["template", "--new-trade", "lift-brake"],
        ["template", "my-check", "--trade", "lift-brake", "--into", "my-check.yaml"],
        ["template", "my-check", "--stories", "--into", "my-check.tests.yaml"],
        ["check", "my-check.yaml"],
        ["test", "my-check.yaml", "--jobs", "1"],
    ):
        done = CliRunner().invoke(app, command)
        assert done.exit_code == 0, done.output
    again = CliRunner().invoke(app, ["template", "--new-trade", "lift-brake"])
    assert "this folder is there already" in str(again.exception)
    assert all("TRADE" not in text for text in trade_template("lift-brake").values())


def test_the_editor_offers_its_name_where_a_trade_is_named(beside: Path) -> None:
    text = "handsfree: 2\nprocedure: new\ntrade: \n"
    assert "coffee-machine" in [one.text for one in offers(text, 2, 7, beside.parent, read_document)]


def test_a_job_sheet_elsewhere_is_checked_by_the_trade_of_its_visit(tmp_path: Path, beside: Path) -> None:
    job = shutil.copytree(beside.parent / TRADE / "example", tmp_path / "jobs") / "jobsheet.yaml"
    alone = CliRunner().invoke(app, ["jobsheet", str(job)])
    assert "there is no trade 'coffee-machine'" in str(alone.exception)
    done = CliRunner().invoke(app, ["jobsheet", str(job), "--visit", str(beside)])
    assert done.exit_code == 0, done.output
    assert "the water: soft" in done.output


DAMAGES: tuple[Callable[[str], str], ...] = (
    lambda line: "",
    lambda line: re.sub(r"(: *)[^\s{\[,].*", r"\g<1>42", line),
    lambda line: re.sub(r"(\w+)(?=:)", r"x\1", line, count=1),
    lambda line: line.replace("[", "[{").replace("{", "[", 1),
    lambda line: re.sub(r"(: *)\S.*", r"\g<1>[]", line),
    lambda line: re.sub(r"(: *)\S.*", r"\g<1>", line),
)
"""A line left out, another value, another key, other brackets, an empty list, nothing."""


@pytest.mark.slow("some two hundred damaged trades, each read, and proven where it still reads")
def test_whatever_is_damaged_is_refused_with_its_line_or_proven(beside: Path) -> None:
    """Every fifth line of each file, damaged in every way: a sentence with file:line, never a traceback."""
    refused, read = list[Problem](), 0
    for file in sorted((beside.parent / TRADE).glob("*.yaml")):
        lines = file.read_text("utf-8").splitlines()
        for at, damage in product(range(2, len(lines), 5), DAMAGES):
            file.write_text("\n".join([*lines[:at], damage(lines[at]), *lines[at + 1 :]]) + "\n", "utf-8")
            try:
                check(load_procedure(beside))
                load_plan(beside, beside.parent / TRADE / "example" / "jobsheet.yaml")
                read += 1
            except Problem as problem:
                refused.append(problem)
        file.write_text("\n".join(lines) + "\n", "utf-8")
    assert [one.sentence() for one in refused if not re.search(r"\.yaml:\d+", str(one.where))] == []
    assert len(refused) > 100
    assert read > 20
