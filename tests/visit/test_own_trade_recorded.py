"""A visit of an author's own trade: its record carries the trade, so a desk without it decides the visit again."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pytest
from agreeing_visits import record

from handsfree.desk.dossier import Dossier
from handsfree.desk.evidence import Evidence
from handsfree.desk.examination import verified
from handsfree.desk.record import load
from handsfree.desk.supervision import check_forms_of_own, judge
from handsfree.ledger import read, verify
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.visit.folder import load_plan, plan_of
from handsfree.visit.replaying import replay_of

OWN = Path(__file__).parents[1] / "trades" / "own"
TRADE = Path("trades", "coffee-machine")
CHECKLIST = """\
checklist:
  - line: The drop
    items:
      - {says: Drop to the group judged within the maker's band, rule: verdict, calculation: brew-drop}
"""


def recorded(folder: Path, procedure: Path, job: Path) -> Path:
    """Record a whole visit by a technician who agrees and reads the usual value off everything."""
    usual = {name: str(facts.usual) for name, facts in load_procedure(procedure).trade.quantities.items()}
    return record(folder, procedure, job, usual)


@pytest.fixture
def author(tmp_path: Path) -> Path:
    """An author's folder, with a checklist of the trade's own."""
    folder = shutil.copytree(OWN, tmp_path / "author")
    (folder / TRADE / "checklist.yaml").write_text(CHECKLIST, "utf-8")
    return folder


@pytest.fixture
def visit(tmp_path: Path, author: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A record on another machine: the author's folder is gone."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    folder = recorded(tmp_path / "visit", author / "brew-check.yaml", author / TRADE / "example" / "jobsheet.yaml")
    shutil.rmtree(author)
    return folder


def test_the_record_commits_to_each_file_of_the_trade(visit: Path) -> None:
    """By SHA-256 of the first entry; the procedure's digest covers them too."""
    first = next(read(visit)).event
    carried = {name for name in first["sources"] if name.startswith("trades.coffee-machine.")}
    assert {name.removeprefix("trades.coffee-machine.") for name in carried} == {
        *("trade.yaml", "quantities.yaml", "english.yaml", "sheets.yaml", "hazards.yaml"),
        *("calculations.yaml", "checklist.yaml"),
    }
    for name in carried:
        assert first["sources"][name] == hashlib.sha256((visit / "sources" / name).read_bytes()).hexdigest()
    digest = hashlib.sha256()
    order = ["trade", "quantities", "english", "sheets", "hazards", "calculations", "checklist"]
    for name in ["brew-check.yaml", *(f"trades.coffee-machine.{one}.yaml" for one in order)]:
        digest.update(hashlib.sha256((visit / "sources" / name).read_bytes()).digest())
    assert first["procedure_sha256"] == digest.hexdigest()


def test_it_is_decided_again_where_nothing_of_the_trade_is_installed(visit: Path) -> None:
    report = verify(visit, replay=replay_of(visit))
    assert report.ok, report.sentence
    assert "decisions" in report.checks


def test_another_formula_among_the_sources_is_noticed(visit: Path) -> None:
    """Of the same length, so that nothing but the digest can tell."""
    file = visit / "sources" / "trades.coffee-machine.calculations.yaml"
    text = file.read_text("utf-8")
    file.write_text(text.replace("brew_temperature - group", "group_temperature - brew"), "utf-8")
    report = verify(visit, replay=replay_of(visit))
    assert not report.ok
    assert "trades.coffee-machine.calculations.yaml" in report.sentence


def test_without_the_trade_the_desk_says_in_a_sentence_what_is_missing(visit: Path) -> None:
    for file in (visit / "sources").glob("trades.*"):
        file.unlink()
    read_again = load(visit)
    assert read_again.plan is None
    assert "there is no trade 'coffee-machine'" in read_again.plan_fault


def test_another_trade_of_its_name_beside_the_record_is_not_taken(visit: Path) -> None:
    other = shutil.copytree(OWN / TRADE, visit / TRADE)
    (other / "english.yaml").write_text("hazards: {}\n", "utf-8")
    assert plan_of(visit, "brew-check").catalogue.hazards["steam-burst"].script.startswith("Everyone back.")


def test_the_desk_judges_by_the_checklist_that_the_record_carries(visit: Path) -> None:
    report = verified(visit)
    evidence = Evidence(load(visit), report, alike=[])
    (line,) = judge(evidence)
    assert (line.line, line.result.name) == ("The drop", "PASS")
    told = Dossier(evidence, report)
    assert told.evidence.recorded.trade == "coffee-machine"


def test_a_key_that_the_desk_tells_of_all_trades_is_refused_by_its_line(author: Path) -> None:
    """It would be left out in silence."""
    report = author / TRADE / "report.yaml"
    whole = (
        "facts: [{says: Site, text: '{opened.site}'}]\nuntil: Leave it off.\ncautions: [Steam.]\nsignatures: [A]\n"
    )
    report.write_text(f"{whole}names: {{brew_temperature: Brew °C}}\n", "utf-8")
    with pytest.raises(Problem, match="`names` is told of all trades together") as refused:
        check_forms_of_own(load_procedure(author / "brew-check.yaml").trade)
    assert refused.value.where == f"{report}:5:1"


def test_its_words_in_another_language_go_along(tmp_path: Path) -> None:
    """The shipped fan as an author's trade: led in German from the kept files alone, under the same digest."""
    folder, fan = tmp_path / "author", OWN.parents[2] / "handsfree" / "trades" / "ventilation"
    shutil.copytree(fan, folder / "trades" / "masonry")
    for file in (OWN.parents[2] / "procedures").glob("extract-*.yaml"):
        shutil.copy(file, folder)
    for file in folder.rglob("*.yaml"):
        file.write_text(file.read_text("utf-8").replace("trade: ventilation", "trade: masonry"), "utf-8")
    job = folder / "trades" / "masonry" / "example" / "jobsheet.yaml"
    plan, kept = load_plan(folder / "extract-ventilation.yaml", job, language="german")
    assert "trades.masonry.german.yaml" in kept
    sources = tmp_path / "visit" / "sources"
    sources.mkdir(parents=True)
    for name, data in kept.items():
        (sources / name).write_bytes(data)
    again = plan_of(tmp_path / "visit", "extract-ventilation", "german")
    assert again.catalogue.language == "german"
    assert again.procedure.version() == plan.procedure.version()
