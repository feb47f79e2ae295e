"""The words of each trade: whole, told apart, sayable. The core names no trade; combustion says what it did."""

from __future__ import annotations

import copy
import json
import re
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from handsfree.lexicon.catalogue import english_content, laid_over
from handsfree.lexicon.checks import faults, said
from handsfree.lexicon.distance import phrase_distance
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import catalogue_of, english, english_words
from handsfree.procedure.trades import known_trades, trade_data

ROOT = Path(__file__).parents[2]
BEFORE = ROOT / "tests" / "lexicon" / "data" / "english-with-combustion.json"
"""The English words as they stood in one file, before there were other trades."""

LEAST_DISTANCE = 1.9
"""Phones; what the authors' proofs ask of two phrases of different meaning."""

MOVED = {"air_flow", "fan_power"}
"""Quantities that were never combustion's."""


def same(now: Any, before: Any, path: str = "") -> list[str]:
    """Return where the words of now differ from those of before, what was added since left out."""
    if isinstance(before, dict):
        now = {str(key): value for key, value in now.items()}
        gone = [f"{path}.{key} is gone" for key in before if key not in now]
        kept = [key for key in before if key in now]
        return gone + [fault for key in kept for fault in same(now[key], before[key], f"{path}.{key}")]
    return [] if now == before else [f"{path}: {now!r}, was {before!r}"]


BURNER_ANSWERS = {
    "firing": ["still firing", "burner running", "it is firing"],
    "off": ["burner is off", "it is off", "it is out", "out"],
}
"""Changed on purpose: "burner lit" and "burner off" were too near "burner out", and "firing" near "feel ill".

"Out" is named by the question itself ("Burner: firing, or out?"), so it is heard.
"""

NEW_HAZARDS = {"must-leave", "fire", "electric-shock", "burn", "flood"}
"""Dangers of any work that had no words before."""

LOCKED_OUT = [
    "burner locked out",
    "the burner locked out",
    "the burner has locked out",
    "the boiler locked out",
    "the boiler has locked out",
    "it went to lockout",
]
"""A lock-out had no words before: it is a burner that went out."""

OTHER_WORDS = {
    "sayings": ("get-help", "recheck-burner"),
    "refusals": ("stop-open",),
    "hazards": ("stop-work", "feel-ill"),
}
"""Said otherwise on purpose: no text of the tool holds a cry, and the burner is asked for by its answers."""


GONE = {"answers": ("cleared",), "sayings": ("cleared-check",)}
"""No reason alone clears a hazard any more."""

NEW_SAYINGS = ("how-on", "how-on-misheard", "how-on-outside", "leave-it-off", "not-below")


def test_english_with_combustion_says_and_hears_what_it_did_before() -> None:
    before = json.loads(BEFORE.read_text("utf-8"))
    for name in MOVED:
        del before["quantities"][name]
    facts = trade_data("combustion").facts
    words = copy.deepcopy(english_words("combustion"))
    named = words["quantities"]
    exact = {name: {**{k: str(v) if k in {"low", "high"} else v for k, v in facts[name].items()}, **named[name]}
             for name in named}  # fmt: skip
    before["supplies"] = before.pop("fuels")  # a name that every trade can use
    before["sayings"]["pair-other-supply"] = before["sayings"].pop("pair-other-fuel").replace("{fuel}", "{supply}")
    before["answers"] |= BURNER_ANSWERS
    before["glance"]["labels"]["right"] = (
        "Correct?"  # "right" was shown, and is a direction that is not taken for yes
    )
    before["glance"]["labels"]["closed"] = "Not finished. {left}"  # the banner over it says how it ended
    for section, names in OTHER_WORDS.items():
        for name in names:
            before[section][name] = words[section][name]
    before["hazards"] |= {name: words["hazards"][name] for name in NEW_HAZARDS}
    before["hazards"]["burner-out"]["heard"] += LOCKED_OUT
    for hazard in before["hazards"].values():
        hazard.pop("re_entry", None)  # in hazards.yaml now
    for section, names in GONE.items():
        for name in names:
            del before[section][name]
    for name in ("false-stop", "outside", "put-right", "misheard", "close"):
        before["answers"][name] = words["answers"][name]
    before["sayings"] |= {name: words["sayings"][name] for name in NEW_SAYINGS}
    del before["glance"]["cleared"]
    before["glance"]["labels"]["lost"] = "LOST: {devices}."  # the keys may be what was lost
    for one in before["quantities"].values():
        one |= {"low": str(one["low"]), "high": str(one["high"])}
    assert same({**words, "quantities": exact}, before) == []
    assert set(named) == set(before["quantities"])


@pytest.mark.parametrize("name", known_trades())
def test_nothing_is_wrong_with_the_words_of_a_trade(name: str) -> None:
    """Every phrase has a pronunciation, no two are the same, none is contained in what the tool says."""
    assert list(faults(english(name))) == []


@pytest.mark.parametrize("name", known_trades())
def test_each_hazard_says_what_to_do_and_where_that_is_from(name: str) -> None:
    """What must pass before the work goes on: `tests/procedure/test_re_entry_proof.py`."""
    for hazard in english(name).hazards.values():
        assert hazard.script
        assert hazard.source


@pytest.mark.parametrize("name", known_trades())
def test_what_is_said_at_a_hazard_is_short(name: str) -> None:
    """A dozen words at most: they are heard by a frightened person."""
    assert [text for path, text in said(english(name)) if path[0] == "hazards" and len(text.split()) > 12] == []


@pytest.mark.parametrize("name", known_trades())
def test_stop_phrases_of_different_hazards_sound_different(name: str) -> None:
    """And none begins one of another meaning, so that none has to wait for more words."""
    words = Pronunciations()
    phrases = [(text, of) for of, hazard in english(name).hazards.items() for text in hazard.heard]
    for (one, its), (other, others) in combinations(phrases, 2):
        if its == others:  # cut off, it means the same
            continue
        assert phrase_distance(one.split(), other.split(), words) >= LEAST_DISTANCE, (one, other)
        assert not other.startswith(one + " "), (one, other)
        assert not one.startswith(other + " "), (one, other)


def test_stop_work_is_heard_alike_and_answered_by_each_trade() -> None:
    """A general hazard: the phrases are the core's, the script is the trade's."""
    hazards = {name: english(name).hazards["stop-work"] for name in known_trades()}
    assert len({hazard.heard for hazard in hazards.values()}) == 1
    assert len({hazard.script for hazard in hazards.values()}) == len(hazards)
    assert "burner" not in hazards["ventilation"].script.lower()
    assert "gas" not in hazards["ventilation"].script.lower()


def test_a_trade_without_a_script_for_a_general_hazard_is_no_catalogue() -> None:
    words = copy.deepcopy(trade_data("ventilation").english.content)
    del words["hazards"]["feel-ill"]
    with pytest.raises(ValueError, match=r"hazards\.feel-ill\.script"):
        catalogue_of(laid_over(english_content(), words), trade_data("ventilation"))


@pytest.mark.parametrize("name", known_trades())
def test_usual_values_can_be_said(name: str) -> None:
    """Each in its own digits; the words for each quantity are there, and its unit can be said."""
    catalogue = english(name)
    for quantity, facts in trade_data(name).quantities.items():
        assert quantity in catalogue.quantities
        assert facts.unit in catalogue.units
        for value in (facts.usual, *facts.unusual):
            assert -value.as_tuple().exponent <= facts.decimals, (quantity, value)  # type: ignore[operator]


OF_A_TRADE = re.compile(
    r"\b(co2|o2|co|boiler|burner|gas|flue|fuel|flame|analyser|combustion|fan|refrigerant|compressor)s?\b",
    re.IGNORECASE,
)


def words_of_a_trade(text: str) -> list[tuple[int, str]]:
    """Return the lines of a file that name a trade's things."""
    found = []
    for number, line in enumerate(text.splitlines(), 1):
        if OF_A_TRADE.search(line):
            found.append((number, line.strip()))
    return found


def test_the_core_lexicon_names_no_trade() -> None:
    """Nor do the readers of languages, trades and sheets."""
    files = [
        file for file in sorted((ROOT / "handsfree" / "lexicon").rglob("*")) if file.suffix in {".py", ".yaml"}
    ]
    readers = ("languages", "layout", "schema", "sheets", "template", "trades")
    files += [ROOT / "handsfree" / "plain.py"]
    files += [ROOT / "handsfree" / "procedure" / f"{name}.py" for name in readers]
    assert len(files) > 18
    found = {file.name: words_of_a_trade(file.read_text("utf-8")) for file in files}
    assert {name: lines for name, lines in found.items() if lines} == {}


@pytest.mark.parametrize(
    "planted",
    ["off: [burner off]", 'LEAST = ("co2", "o2")', "# a boiler's rate", "gas cock closed", "Flue temperature"],
)
def test_a_planted_word_of_a_trade_is_found(planted: str) -> None:
    core = (ROOT / "handsfree" / "lexicon" / "english.yaml").read_text("utf-8")
    assert words_of_a_trade(core) == []
    assert [line for _, line in words_of_a_trade(f"{core}\n{planted}\n")] == [planted]


UCUM = {
    "%": "%", "[ppm]": "[PPM]", "Cel": "CEL", "[degF]": "[DEGF]", "K": "K", "mbar": "MBAR", "bar": "BAR",
    "Pa": "PAL", "kPa": "KPAL", "[psi]": "[PSI]", "[in_i'H2O]": "[IN_I'H2O]", "m3": "M3", "[cft_i]": "[CFT_I]",
    "s": "S", "uA": "UA", "A": "A", "V": "V", "N.m": "N.M", "g": "G", "kg": "KG", "/min": "/MIN", "m": "M",
    "L/s": "L/S", "W": "W", "kW": "KW", "1": "1",
}  # fmt: skip
"""Case-sensitive code -> case-insensitive code, from the tables of UCUM 2.1 (ucum.org, sections 28 to 46),
prefixes and products by its section 2; from memory."""


def test_every_unit_that_can_be_said_is_a_ucum_code() -> None:
    assert {unit for name in known_trades() for unit in english(name).units} <= set(UCUM)
