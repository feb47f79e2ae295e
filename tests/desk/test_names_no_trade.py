"""Nothing in the desk names a trade's quantities or things, or a gate of a shipped procedure: all that is data."""

import re
from functools import cache
from pathlib import Path

import pytest

import handsfree.desk
from handsfree.desk.supervision import RULES
from handsfree.procedure.procedure import load_procedure
from handsfree.shipped import procedure_path

DESK = Path(handsfree.desk.__file__).parent
WORDS = re.compile(
    r"(?i)co2|co₂|\bo2\b|o₂|\bco\b|carbon|monoxide|oxygen|\bflue|boiler|burner|\bgas\b|\bgases\b|combust|\bfuel|condens"
    r"|analyser|turndown|refrigerant|superheat|subcool|ventilat|\bduct|air.flow|cooling"
    r"(?!/checklist|/report)"
)
TRADE_OF_THE_EXPLANATIONS = re.compile(r"handsfree/trades/combustion/(checklist|report)\.yaml|combustion's say in")
"""Where the keys are explained; a sentence may send its reader there."""


@cache
def gates() -> frozenset[str]:
    """The hyphenated gates of the shipped procedures, without prefixes; a word alone may be anything."""
    names = ("two-rate-combustion", "extract-ventilation", "gas-rate-check", "safe-isolation")
    found = {gate.rsplit("/", 1)[-1] for name in names for gate in load_procedure(procedure_path(name)).gates}
    return frozenset(gate for gate in found if "-" in gate) - RULES.keys()


def named(text: str, shipped: frozenset[str]) -> list[str]:
    """What of a trade a text names, line by line."""
    text = TRADE_OF_THE_EXPLANATIONS.sub("", text)
    words = [match[0] for match in WORDS.finditer(text)]
    return words + [gate for gate in re.findall(r"[a-z0-9]+(?:-[a-z0-9]+)+", text) if gate in shipped]


def files() -> list[Path]:
    return sorted(
        path for path in DESK.rglob("*") if path.suffix in {".py", ".html", ".css", ".js", ".yaml", ".svg"}
    )


@pytest.mark.parametrize("path", files(), ids=lambda path: str(path.relative_to(DESK)))
def test_no_file_of_the_desk_names_a_trade(path):
    """Python, pages, styles and the plain forms."""
    assert named(path.read_text("utf-8"), gates()) == []


@pytest.mark.parametrize(
    "planted",
    [
        'FIRST = "co2"',
        "# the boiler's plate",
        'evidence.gate_ids(["analyser-serial"])',
        "<th>CO₂</th>",
        "hood-in-date",
    ],
)
def test_what_is_planted_is_found(planted):
    """So that the test above can fail."""
    assert named(planted, gates())
