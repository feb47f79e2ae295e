"""Session and procedure name no trade: what is true of CO2, burners or gas stands under `handsfree/trades`."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PROCEDURES = ROOT / "procedures"
SCANNED = ("desk", "events", "gates", "glance", "lexicon", "procedure", "questions", "session")

OF_A_TRADE = frozenset(
    {
        "co2", "o2", "co", "carbon", "monoxide", "dioxide", "oxygen", "boiler", "burner", "gas", "fuel", "flue",
        "combustion", "ventilation", "refrigerant", "superheat",
    }
)  # fmt: skip
"""Words that only a trade may say, in the singular."""

ALIKE = {
    ("procedure/documentation.py", "water-pressure"): "the name of the example that it prints",
    ("procedure/added.py", "put-back"): "the ending that the language itself adds",
    ("questions/put_back.py", "put-back"): "the kind of question",
    ("events/upcasting.py", "put-back"): "the kind of question",
    **{
        (f"desk/{file}.py", rule): "a rule of checklists"
        for file, rules in {
            "supervision": ["put-back", "settings-back", "in-date"],
            "concerns": ["put-back", "settings-back"],
        }.items()
        for rule in rules
    },
}
"""Words in quotes that happen to be the id of a gate that ships, and what they are."""


def named(text: str) -> set[str]:
    """Return the words of a trade in a text; names in snake case and in capitals within are taken apart."""
    words = re.findall(r"[a-z]+[0-9]?", re.sub(r"([a-z0-9])([A-Z])", r"\1 \2", text).lower())
    words = [one for one in words if one != "cos"]  # the cosine, in a script
    return {word for one in words for word in (one, one.removesuffix("s")) if word in OF_A_TRADE}


def gate_ids() -> frozenset[str]:
    """Return the ids of the gates that ship, which are more than one plain word."""
    found = re.findall(
        r"(?m)^ *-? *id: *([a-z0-9-]+)", "\n".join(p.read_text() for p in PROCEDURES.glob("*.yaml"))
    )
    return frozenset(one for one in found if "-" in one)


def scanned() -> dict[str, str]:
    """Return every source file and its data that is scanned, by its path under the package."""
    package = ROOT / "handsfree"
    return {
        str(path.relative_to(package)): path.read_text()
        for folder in SCANNED
        for path in sorted((package / folder).rglob("*"))
        if path.suffix in {".py", ".yaml", ".html", ".js", ".css"}
    }


FILES = scanned()


@pytest.mark.parametrize("path", sorted(FILES))
def test_no_word_of_a_trade_stands_here(path: str) -> None:
    assert named(FILES[path]) == set()


def test_no_gate_that_ships_is_named() -> None:
    ids = gate_ids()
    assert len(ids) > 150
    quoted = {(path, one) for path, text in FILES.items() for one in re.findall(r"[\"']([a-z0-9-]+)[\"']", text)}
    assert {(path, one) for path, one in quoted if one in ids} == set(ALIKE)


@pytest.mark.parametrize(
    "planted",
    [
        'if quantity == "co2":',
        "CO_FLICKER = 4",
        "def co_rising(): ...",
        "class GasMeter: ...",
        "burners = ()",
        "# the flue's own",
        'fuel = "oil"',
    ],
)
@pytest.mark.parametrize("path", ["session/settling.py", "session/situation.py", "procedure/proofs/verdicts.py"])
def test_a_planted_word_is_found(path: str, planted: str) -> None:
    assert named(FILES[path]) == set()
    assert named(f"{FILES[path]}\n{planted}\n") != set()


@pytest.mark.parametrize("innocent", ["cooling = coated", "ways = gasket", "colour, carbonara"])
def test_a_word_that_only_looks_alike_is_none(innocent: str) -> None:
    assert named(innocent) == set()
