"""A bundle brings the author's own trade along, so a device that knows nothing of it leads the visit."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from handsfree.bundles.archive import Bundle
from handsfree.bundles.statement import Withdrawal, line_of, signed
from handsfree.bundles.taken import TakenBundles
from handsfree.ledger.clock import stamp
from handsfree.office.signatures import KeyHolder
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.release.making import Author, made
from handsfree.release.taking import take
from handsfree.visit.folder import load_plan
from tests.release.conftest import NOW

OWN = Path(__file__).parents[1] / "trades" / "own"
TRADE = Path("trades", "coffee-machine")


@pytest.fixture(scope="module")
def brewing(author: Author) -> Bundle:
    return made(OWN / "brew-check.yaml", author, now=NOW, days=30)


@pytest.fixture
def changed(tmp_path: Path) -> Path:
    """A copy of the author's folder whose relief pressure is told in other words; the procedure's file."""
    folder = shutil.copytree(OWN, tmp_path / "changed")
    words = folder / TRADE / "english.yaml"
    words.write_text(words.read_text("utf-8").replace("Over the relief pressure.", "Pressure too high."), "utf-8")
    stories = folder / "brew-check.tests.yaml"
    stories.write_text(
        stories.read_text("utf-8").replace("Over the relief pressure.", "Pressure too high."), "utf-8"
    )
    return folder / "brew-check.yaml"


def put(bundle: Bundle, folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / bundle.name).write_bytes(bundle.content)
    return folder


def test_the_bundle_holds_each_file_of_the_trade_signed(brewing: Bundle) -> None:
    files = {path.name: path.read_bytes() for path in (OWN / TRADE).glob("*.yaml") if path.stem != "template"}
    prefix = "procedure/trades.coffee-machine."
    assert {name.removeprefix(prefix): data for name, data in brewing.files.items() if prefix in name} == files
    assert brewing.of_trade().keys() == {f"{prefix}{name}" for name in files}
    assert brewing.approval.procedure_sha256 == load_procedure(OWN / "brew-check.yaml").version()


def test_a_device_takes_it_and_leads_by_it(tmp_path: Path, brewing: Bundle, device: TakenBundles) -> None:
    """The job sheet lies elsewhere, and no trade beside it."""
    (done,) = take(str(put(brewing, tmp_path / "stick")), device)
    assert not done.refused, done.says
    bundle = device.led_by("brew-check")
    assert bundle is not None
    job = shutil.copytree(OWN / TRADE / "example", tmp_path / "jobs") / "jobsheet.yaml"
    with bundle.unpacked() as file:
        plan, kept = load_plan(file, job)
    assert "brew-drop" in plan.trade.calculations
    assert plan.sheets.chosen("job.water") == "soft"
    assert "trades.coffee-machine.calculations.yaml" in kept


def test_a_withdrawn_version_leads_no_more_and_a_damaged_trade_keeps_the_last_good_one(
    tmp_path: Path, brewing: Bundle, device: TakenBundles, author: Author
) -> None:
    stick = put(brewing, tmp_path / "stick")
    take(str(stick), device)
    other = {**brewing.files, "procedure/trades.coffee-machine.english.yaml": b"hazards: {}\n"}
    (stick / brewing.name).write_bytes(Bundle(brewing.approval, other).content)
    (done,) = take(str(stick), device)
    assert done.refused
    assert "is not as it was approved" in done.says
    assert device.led_by("brew-check") is not None
    says = {"procedure": "brew-check", "versions": ["1.0.0"], "why": "the wrong band", "at": stamp(NOW)}
    line = line_of(signed(Withdrawal, says, author.listed, KeyHolder(author.key)))
    (tmp_path / "withdrawn.jsonl").write_bytes(line + b"\n")
    take(str(tmp_path / "withdrawn.jsonl"), device)
    with pytest.raises(Problem, match="the wrong band"):
        device.led_by("brew-check")


def test_a_change_of_the_trade_alone_must_raise_the_version(
    changed: Path, brewing: Bundle, author: Author
) -> None:
    """Nobody can show that other words at a passed limit allow no more, so it is looser: 2.0.0 after 1.0.0."""
    with pytest.raises(Problem, match=r"version 1\.0\.0 is too low after 1\.0\.0: it is looser") as refused:
        made(changed, author, now=NOW, days=30, before=brewing)
    assert "english.yaml of the trade: limits.boiler-pressure" in refused.value.what


def test_another_trade_of_one_name_on_the_device_is_told(
    tmp_path: Path, changed: Path, brewing: Bundle, author: Author, device: TakenBundles
) -> None:
    take(str(put(brewing, tmp_path / "one")), device)
    other = changed.rename(changed.with_name("warm-check.yaml"))
    other.write_text(other.read_text("utf-8").replace("procedure: brew-check", "procedure: warm-check"), "utf-8")
    stories = changed.with_name("brew-check.tests.yaml").rename(changed.with_name("warm-check.tests.yaml"))
    stories.write_text(stories.read_text("utf-8").replace("of: brew-check", "of: warm-check"), "utf-8")
    (done,) = take(str(put(made(other, author, now=NOW, days=30), tmp_path / "two")), device)
    assert not done.refused
    assert "its trade coffee-machine is another than that of brew-check 1.0.0" in done.says
    with (
        device.bundle("brew-check", "1.0.0").unpacked() as one,
        device.bundle("warm-check", "1.0.0").unpacked() as two,
    ):
        said = [load_procedure(each).catalogue.limits["boiler-pressure"] for each in (one, two)]
    assert [text.split(".")[0] for text in said] == ["Over the relief pressure", "Pressure too high"]


def test_a_checklist_with_an_unknown_rule_is_not_released(changed: Path, author: Author) -> None:
    checklist = changed.parent / TRADE / "checklist.yaml"
    checklist.write_text("checklist:\n  - line: One\n    items:\n      - {says: One, rule: none-such}\n", "utf-8")
    with pytest.raises(Problem, match="there is no rule 'none-such'") as refused:
        made(changed, author, now=NOW, days=30)
    assert str(refused.value.where).startswith(f"{checklist}:4:")
