"""Pictures of procedures: cards, pages that fit A4, ways that lead where they say, before and after."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from typer.testing import CliRunner
from workshop import PROVEN, procedure_of

from handsfree.commands.app import app
from handsfree.gates.outcomes import ENDS
from handsfree.procedure.before_after import before_and_after
from handsfree.procedure.cards import card_of
from handsfree.procedure.comparison import changes
from handsfree.procedure.drawing import svg
from handsfree.procedure.pages import pages
from handsfree.procedure.procedure import load_procedure

PROCEDURES = Path(__file__).parents[2] / "procedures"
LONG = [
    "two-rate-combustion",
    "hot-water-profile",
]  # 216 gates of one file, and parts gone through for each outlet
A4 = 297 / 210
"""Height by width, ISO 216."""


def sections(page: str) -> list[ET.Element]:
    return [ET.fromstring(one) for one in re.findall(r"<section.*?</section>", page, re.DOTALL)]


def drawn(section: ET.Element) -> ET.Element:
    return next(one for one in section if one.tag.endswith("svg"))


def ids(of: ET.Element) -> list[str]:
    groups = (one for one in of.iter() if one.tag.endswith("}g"))
    return [str(one.get("id")) for one in groups if "part" not in str(one.get("class")).split()]


def texts(of: ET.Element) -> str:
    return " ".join("".join(one.itertext()) for one in of.iter() if one.tag.endswith("}text"))


@pytest.mark.parametrize("name", LONG)
def test_every_gate_stands_on_one_page_and_every_page_fits_a4(name: str) -> None:
    procedure = load_procedure(PROCEDURES / f"{name}.yaml")
    found = sections(pages(procedure))
    assert sorted(gate for section in found for gate in ids(section)) == sorted(procedure.gates)
    for section in found:
        picture = drawn(section)
        high, wide = int(str(picture.get("height"))), int(str(picture.get("width")))
        assert high / wide <= A4, section.get("id")
        assert wide <= 900  # 11 pixels of 900 on 190 mm are letters of 6.6 point


@pytest.mark.parametrize("name", LONG)
def test_a_way_to_another_page_names_the_page_where_its_gate_stands(name: str) -> None:
    procedure = load_procedure(PROCEDURES / f"{name}.yaml")
    found = sections(pages(procedure))
    page_of = {gate: number for number, section in enumerate(found, 1) for gate in ids(section)}
    far = 0
    for section in found:
        said = re.sub(r"\s+", " ", texts(section))
        for gate in ids(section):
            for to in procedure.gates[gate].transitions.values():
                if to in ENDS or page_of[to] == page_of[gate] or procedure.gates[to].gate.kind == "stop":
                    continue
                far += 1
                assert re.search(rf"{to.replace('-', '- ?')},? ?page {page_of[to]}\b".replace("/", "/ ?"), said), (
                    to
                )
    assert far > 3


def test_a_page_of_one_gate_names_it_once() -> None:
    told = pages(load_procedure(PROCEDURES / "commissioning.yaml"))
    assert "1 gate<" in told
    assert not re.search(r"\b1 gates", told)
    assert not re.search(r": ([a-z-]+) to \1<", told)


def test_a_card_tells_prompt_words_bands_things_and_each_way() -> None:
    procedure = load_procedure(PROCEDURES / "extract-terminal.yaml")
    text = re.sub(r"\s+", " ", texts(ET.fromstring(svg(procedure))))
    judged = next(placed for placed in procedure.gates.values() if placed.gate.effects.judges)
    limits = judged.gate.effects.judges.limits
    assert limits is not None
    assert f"band: {limits.quantity}" in text
    for placed in procedure.gates.values():
        for way in card_of(procedure, placed).ways:
            assert way.said.split(", ")[0] in text
        for key in ("prompt", "script"):
            if key in placed.gate.texts:
                assert placed.gate.texts[key] in text


def test_units_are_drawn_as_screens_write_them() -> None:
    """Not as UCUM codes: `Cel`, `[ppm]`."""
    drawn = svg(load_procedure(PROCEDURES / "outlet-temperature.yaml"))
    assert "°C" in drawn
    assert "Cel" not in drawn


def test_what_changed_stands_side_by_side_and_the_rest_is_folded() -> None:
    old = procedure_of(PROVEN)
    new = procedure_of(PROVEN.replace("at_most: 4", "at_most: 9", 1))
    page = before_and_after(old, new, changes(old, new))
    assert "<del>at most 4 times</del>" in page
    assert "<ins>at most 9 times</ins>" in page
    assert page.count('class="card"') == 2
    assert 'class="looser"' in page
    folded = [int(count) for count in re.findall(r"(\d+) gates as before", page)]
    assert sum(folded) + page.count("as before:") - len(folded) == len(new.gates) - 1
    assert "<del>" not in before_and_after(old, old, ())


def test_a_gate_that_moved_and_one_that_went_are_told() -> None:
    old = load_procedure(PROCEDURES / "gas-rate-check.yaml")
    new = load_procedure(PROCEDURES / "safe-isolation.yaml")
    page = before_and_after(old, new, changes(old, new))
    assert page.count("not here") == len(set(old.gates) ^ set(new.gates))


def test_the_commands_write_them(tmp_path: Path) -> None:
    path = PROCEDURES / "gas-rate-check.yaml"
    into = tmp_path / "pages.html"
    done = CliRunner().invoke(app, ["draw", str(path), "--pages", "--into", str(into)])
    assert done.exit_code == 0, done.output
    assert into.read_text(encoding="utf-8").startswith("<!doctype html>")
    side = tmp_path / "side.html"
    done = CliRunner().invoke(app, ["compare", str(path), str(path), "--drawing", str(side)])
    assert done.exit_code == 0, done.output
    assert "12 gates as before" in side.read_text(encoding="utf-8")
