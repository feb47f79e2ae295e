"""The shipped procedures: their verdicts, prompts, sources, words and the invented sheets."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from handsfree.gates.choice import ChoiceGate
from handsfree.gates.confirm import ConfirmGate
from handsfree.gates.finish import FinishGate
from handsfree.gates.readings import ReadingsGate
from handsfree.gates.restore import RestoreGate
from handsfree.gates.timed import TimedGate
from handsfree.gates.verdict import VerdictGate
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.sheets import load_sheets
from handsfree.trades.registry import trade

ROOT = Path(__file__).parents[2]
NAMES = ("two-rate-combustion", "gas-rate-check", "safe-isolation")
SHIPPED = {name: load_procedure(ROOT / "procedures" / f"{name}.yaml") for name in NAMES}
VISIT = SHIPPED["two-rate-combustion"]


def spoken(text: str) -> str:
    """Return a prompt as the words that are said: letters spelled, marks left out."""
    text = re.sub(r"\{[^}]*\}", "blank", text)
    text = re.sub(r"\bCO2\b", "c o two", text)
    text = re.sub(r"\bO2\b", "o two", text)
    text = re.sub(r"\bCO\b", "c o", text)
    return " ".join(re.findall(r"[a-z0-9']+", text.lower()))


def said_at(procedure: Procedure, gate_id: str) -> list[str]:
    gate = procedure.gates[gate_id].gate
    return [
        text
        for text in (gate.title, getattr(gate, "prompt", None), getattr(gate, "script", None))
        if text is not None
    ]


@pytest.mark.parametrize("name", NAMES)
def test_every_verdict_answers_every_outcome(name: str) -> None:
    """Calculation, inputs, rate and outcomes are the registered ones; what is read was asked for by that name."""
    procedure = SHIPPED[name]
    kept = {}
    for placed in procedure.gates.values():
        if isinstance(placed.gate, ReadingsGate):
            kept[placed.gate.point] = {ask.quantity for ask in placed.gate.ask}
        if isinstance(placed.gate, TimedGate):
            kept[placed.gate.point] = {placed.gate.volume.quantity, "meter_time"}
    for gate_id, placed in procedure.gates.items():
        gate = placed.gate
        if isinstance(gate, VerdictGate):
            signature = trade(procedure.trade.name).calculations[gate.calculation]
            assert set(gate.branches) == set(signature.outcomes), gate_id
            assert (gate.rate is not None) == signature.rate, gate_id
            assert set(gate.using) == set(signature.inputs), gate_id
            for name_of_input, quantities in signature.inputs.items():
                assert set(quantities) <= kept[gate.using[name_of_input]], gate_id


def test_flue_readings_are_taken_with_the_cabinet_closed_and_the_rate_held() -> None:
    """CO2 never stands without O2 and CO, nor a set without its settle rule, cover, probe and hold."""
    for placed in VISIT.gates.values():
        gate = placed.gate
        if not isinstance(gate, ReadingsGate) or "co2" not in {ask.quantity for ask in gate.ask}:
            continue
        assert [ask.quantity for ask in gate.ask] == ["co2", "o2", "co"]
        assert gate.settle is not None
        assert gate.settle.wait_seconds >= 90  # the shortest wait that is ever right; makers ask 180 to 300 s
        needed = {"cover": "fitted", "grommet": "fitted", "probe": "inserted", "rate-hold": "held"}
        assert needed.items() <= dict(gate.needs).items()
        assert gate.firing


@pytest.mark.parametrize("name", NAMES)
def test_prompts_are_short_and_plain(name: str) -> None:
    """Ten words at most, no politeness, no praise, never "safe", and no phrase that would stop the visit."""
    for gate_id in SHIPPED[name].gates:
        for text in said_at(SHIPPED[name], gate_id):
            words = spoken(text)
            shown = re.sub(r"\bc o two\b|\bo two\b|\bc o\b", "gas", words)  # one name to the ear
            assert len(shown.split()) <= 10, (gate_id, text)
            assert english().hazard_of(words) is None, (gate_id, text)
            for banned in ("please", "thank", "well done", "good", "great", "safe", "sorry"):
                assert banned not in words, (gate_id, text)


@pytest.mark.parametrize("name", NAMES)
def test_cautions_are_short_and_plain(name: str) -> None:
    """What is spoken before the first gate follows the same rules."""
    for text in SHIPPED[name].file.cautions:
        assert len(spoken(text).split()) <= 10
        assert english().hazard_of(spoken(text)) is None
        assert "safe" not in text.lower()


@pytest.mark.parametrize("name", NAMES)
def test_every_gate_says_where_it_comes_from(name: str) -> None:
    """A published source or 'common practice, no source'; settle rules name their own."""
    for placed in SHIPPED[name].gates.values():
        gate = placed.gate
        written = not (isinstance(gate, RestoreGate | FinishGate) and placed.place.line == 1)
        if written:
            assert gate.source, placed.id
        if isinstance(gate, ReadingsGate) and gate.settle is not None:
            assert gate.settle.source


@pytest.mark.parametrize("name", NAMES)
def test_every_word_that_is_listened_for_can_be_said(name: str) -> None:
    """Each word of each phrase is in the pronouncing dictionary or spelled out."""
    procedure = SHIPPED[name]
    words: set[str] = set()
    for placed in procedure.gates.values():
        gate = placed.gate
        if isinstance(gate, ConfirmGate):
            words |= {word for phrase in gate.done for word in phrase.split()}
        if isinstance(gate, ChoiceGate):
            words |= {
                word for answer in gate.answers.values() for phrase in answer.heard for word in phrase.split()
            }
    for thing in procedure.things.values():
        words |= {*thing.altered.split(), *thing.restored.split()}
    assert Pronunciations(procedure.words).unknown(words) == ()


@pytest.mark.parametrize("name", NAMES)
def test_every_quantity_is_in_the_catalogue(name: str) -> None:
    """What is asked for, timed or captured has a name, a unit and a range."""
    known = english().quantities
    for placed in SHIPPED[name].gates.values():
        gate = placed.gate
        asks = (
            gate.ask if isinstance(gate, ReadingsGate) else (gate.volume,) if isinstance(gate, TimedGate) else ()
        )
        assert {ask.quantity for ask in asks} <= set(known)
    assert {thing.value for thing in SHIPPED[name].things.values() if thing.value} <= set(known)


@pytest.mark.parametrize("fuel", ["natural gas", "propane"])
def test_the_invented_sheets_fill_every_prompt_for_both_gases(fuel: str) -> None:
    """Bands come from the sheet; the procedure is the same for natural gas and propane."""
    sheets, _ = load_sheets(ROOT / "handsfree" / "demo" / "jobsheet.yaml")
    job = sheets.job.model_copy(update={"fuel": fuel})
    for placed in VISIT.gates.values():
        for text in said_at(VISIT, placed.id):
            assert "{" not in text.format(job=job, appliance=sheets.appliance)
    band = sheets.appliance.fuels[fuel].co2["maximum"]
    # Common practice, no source: 8.9 to 9.9 % for natural gas, 9.9 to 10.9 % for propane.
    assert (str(band.low), str(band.high)) == {"natural gas": ("8.9", "9.9"), "propane": ("9.9", "10.9")}[fuel]
    rule = sheets.appliance.fuels[fuel].between_rates
    assert rule is not None
    assert (str(rule.low), str(rule.high)) == ("-0.2", "0.2")
