"""The English catalogue: whole, told apart, sayable, never stopping itself; its stop phrases are distinct."""

from __future__ import annotations

import copy
from itertools import combinations

import pytest

from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.checks import faults, lacking, said
from handsfree.lexicon.distance import phrase_distance
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import catalogue_of, english, english_words
from handsfree.procedure.trades import trade_data
from handsfree.trades.combustion.fuels import FUELS
from handsfree.trades.combustion.stop_limits import DEFAULTS, StopLimits

CATALOGUE = english()
COMBUSTION = trade_data("combustion")
LEAST_DISTANCE = 1.9
"""Phones; what the authors' proofs ask of two phrases of different meaning."""


def test_nothing_is_wrong_with_the_catalogue_that_ships() -> None:
    """Every phrase has a pronunciation, no two are the same, none is contained in what the tool says."""
    assert list(faults(CATALOGUE)) == []
    assert list(lacking(english_words(), english_words())) == []


@pytest.mark.parametrize(
    ("section", "key", "value", "told"),
    [
        ("sayings", "stopped", "Stop work now.", "holds a phrase of stop-work"),
        ("sayings", "finished", "All is safe. {count} {checksum}", "promises what nobody can know: safe"),
        ("refusals", "pair", "there is a gas smell", "holds a phrase of gas-smell"),
        ("answers", "mark", ["mark", "go back"], "'go back' is already everywhere.go-back"),
        ("everywhere", "note", ["floptastic"], "no pronunciation is known for floptastic"),
        ("limits", "rising-co", "C O alarm. Burner off.", "holds a phrase of co-alarm"),
    ],
)
def test_a_fault_of_each_kind_is_found(section: str, key: str, value: object, told: str) -> None:
    content = copy.deepcopy(english_words())
    content[section][key] = value
    assert told in "; ".join(sentence for _, sentence in faults(catalogue_of(content, COMBUSTION)))


def test_stop_phrases_of_different_hazards_sound_different() -> None:
    """And none begins one of another meaning, so that none has to wait for more words."""
    words = Pronunciations()
    phrases = [(text, name) for name, hazard in CATALOGUE.hazards.items() for text in hazard.heard]
    for (one, its), (other, others) in combinations(phrases, 2):
        if its == others:  # cut off, it means the same
            continue
        assert phrase_distance(one.split(), other.split(), words) >= LEAST_DISTANCE, (one, other)
        assert not other.startswith(one + " "), (one, other)
        assert not one.startswith(other + " "), (one, other)


def test_every_hazard_has_a_phrase_of_four_words_or_more() -> None:
    """Short phrases are missed in noise; what people say unasked is longer. A stop may be two long words."""
    longest = {name: max(len(t.split()) for t in hazard.heard) for name, hazard in CATALOGUE.hazards.items()}
    assert all(count >= 4 for name, count in longest.items() if name != "stop-work")
    assert "emergency stop" in CATALOGUE.hazards["stop-work"].heard


def test_every_stop_limit_has_its_script_and_every_script_its_limit() -> None:
    signs = {"ambient-co-over-range", "co-over-range", "rich-mixture"}
    assert set(CATALOGUE.limits) == {*DEFAULTS, *StopLimits().missing(), *signs}


def test_the_fuels_that_a_pair_may_fit_have_names() -> None:
    assert {"natural gas", "propane", "butane"} <= set(CATALOGUE.supplies) & set(FUELS)


def test_what_is_said_is_short() -> None:
    """Ten words where hands are busy, a blank counting as one; "No turn." stands before a refusal."""
    most = {"refusals": 8}
    assert [text for path, text in said(CATALOGUE) if len(text.split()) > most.get(str(path[0]), 10)] == []


def test_an_unknown_quantity_is_told_with_the_known_ones() -> None:
    content = {**english_words(), "quantities": {"dew_point": {"said": "dew point", "heard": ["dew point"]}}}
    with pytest.raises(ValueError, match="there is no quantity dew_point; known: co2"):
        catalogue_of(content, COMBUSTION)


def test_a_sentence_begins_with_a_large_letter_and_keeps_the_others() -> None:
    assert [sentence_case(text) for text in ("flue CO2", "übergabe", "")] == ["Flue CO2", "Übergabe", ""]


def test_each_stop_limit_says_what_it_is_a_limit_of() -> None:
    """A screen shows that beside the numbers, in place of the record's own name."""
    for trade in ("combustion", "cooling"):
        catalogue = english(trade)
        assert set(catalogue.limit_of) == set(catalogue.limits)
