"""Nothing the tool says or listens for stands in Python: a visit in words that no language has shows it.

Every word of the catalogue, of the shipped procedures and of the maker's sheet is made into one that nobody
knows ("stop" becomes "zstopz"). Visits at random are then held to say and to listen for no other words.
"""

from __future__ import annotations

import ast
import copy
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, ClassVar

import pytest
from rehearsed import DAY, ROOT, sheets

from handsfree.documents import Document, read_document
from handsfree.events import decisions as ev
from handsfree.events.inputs import DeviceFound, DeviceLost
from handsfree.lexicon.catalogue import Catalogue
from handsfree.procedure import flattening
from handsfree.procedure.languages import catalogue_of, english_words
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.hearing import hearing_of
from handsfree.procedure.trades import trade_data
from handsfree.session.exploring import Coverage, _Explorer
from handsfree.session.plan import Plan
from handsfree.trades.combustion.sheets import CombustionSheets
from handsfree.trades.sheets import Sheets

SAID = frozenset({"title", "prompt", "script", "said", "altered", "restored"})
HEARD = frozenset({"done", "heard"})
NAMES = frozenset(
    {"rules", "digit", "whole", "fractions", "pointless", "written-point", "source", "unit", "voice"}
)
"""Keys of the catalogue below which no words stand; the names and joints of the rules are made strange apart."""

_WORD = re.compile(r"(?<![{\w.])[^\W\d_]+(?:'[^\W\d_]+)*(?![\w.]*\})")


def strange(text: str) -> str:
    """Return a text with every word made into one that nobody knows; blanks and digits stay."""
    return _WORD.sub(lambda word: f"z{word.group()}z" if word.group().islower() else f"Z{word.group()}Z", text)


def strange_below(content: Any, keep: frozenset[str] = frozenset()) -> Any:
    if isinstance(content, str):
        return strange(content)
    if isinstance(content, dict):
        return {key: value if key in keep else strange_below(value, keep) for key, value in content.items()}
    return [strange_below(one, keep) for one in content] if isinstance(content, list) else content


@cache
def strange_catalogue() -> Catalogue:
    content = english_words()
    plain = ("language", "dictionary", "pronunciations", "spelling")
    made = {key: value if key in plain else strange_below(value, NAMES) for key, value in content.items()}
    rules = {name: strange_rule(rule) for name, rule in content["numbers"]["rules"].items()}
    return catalogue_of({**made, "numbers": {**made["numbers"], "rules": rules}}, trade_data("combustion"))


def strange_rule(rule: Any) -> Any:
    if isinstance(rule, dict) and all(isinstance(number, int) for number in rule.values()):
        return {strange(word): number for word, number in rule.items()}
    if isinstance(rule, dict) and "between" in rule:
        return {**rule, "between": [strange(word) for word in rule["between"]]}
    return rule


def strange_file(path: Path) -> Document:
    """Return a procedure with every text that is said or heard made strange."""
    document = read_document(path)
    return Document(document.file, document.text, _file(document.content), document.places)


def _file(content: Any, key: str = "") -> Any:
    if isinstance(content, dict):
        made = {name: _file(value, str(name)) for name, value in content.items()}
        if key == "needs":  # which state a thing must be in
            made = {thing: strange(state) for thing, state in made.items()}
        return made
    if isinstance(content, list):
        strangely = key in HEARD | {"cautions"}
        return [strange(one) if strangely and isinstance(one, str) else _file(one, key) for one in content]
    return strange(content) if key in SAID and isinstance(content, str) else content


def strange_sheets() -> Sheets:
    job, appliance = sheets().job, sheets().appliance
    adjusters = {r: one.model_copy(update={"said": strange(one.said)}) for r, one in appliance.adjusters.items()}
    return CombustionSheets(job=job, appliance=appliance.model_copy(update={"adjusters": adjusters}))


@pytest.fixture(scope="module")
def plan() -> Plan:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(flattening, "load_language", lambda *_: (strange_catalogue(), ()))
        loaded: Procedure = load_procedure(ROOT / "procedures" / "two-rate-combustion.yaml", strange_file)
    return Plan(loaded, strange_sheets()).check()


def known_words(text: str, *allowed: str) -> list[str]:
    """Return the words of a text that are not strange; sheets' own names that a prompt fills in are allowed."""
    for name in allowed:
        text = text.replace(name, " ")
    words = [word for word in re.findall(r"[^\W\d_]+(?:'[^\W\d_]+)*", text) if word]
    return [word for word in words if not re.fullmatch(r"z.*z", word, re.IGNORECASE)]


class Listening(Coverage):
    """Notes everything that is said on the visits."""

    said: list[str]

    def notice(self, events: tuple[ev.Decision, ...]) -> None:
        super().notice(events)
        for event in events:
            if isinstance(event, ev.Said | ev.Asked):
                self.said.append(event.text)
            elif isinstance(event, ev.Stopped):
                self.said.append(event.script)


class Stumbling(_Explorer):
    """Is not understood, is silent, says every command and starts again, once at each kind of question."""

    def _try_other_transitions(self) -> None:
        super()._try_other_transitions()
        state = self._visit.state
        kind = (self._plan.gate(state.gate).gate.kind, state.question.kind)
        if kind in self._stumbled:
            return
        self._stumbled.add(kind)
        commands = [texts[0] for texts in self._plan.catalogue.everywhere.values()]
        for words in (["zbluez"] * 5, ["zbluez", *commands]):
            aside = copy.copy(self._visit)
            aside.events = []
            for said in words:
                self._coverage.notice(aside.say(said))
            for _ in range(3):
                self._coverage.notice(aside.wait())
            self._coverage.notice(aside.resume())
            for device in ("microphone", "recogniser"):
                self._coverage.notice(aside.take(DeviceLost(at=aside.state.now, device=device)))
                self._coverage.notice(aside.take(DeviceFound(at=aside.state.now, device=device)))

    _stumbled: ClassVar[set[tuple[str, str]]] = set()


@pytest.fixture(scope="module")
def walked(plan: Plan) -> Listening:
    """A dozen visits at random, and what was said on them."""
    coverage = Listening(plan.procedure)
    coverage.said = []
    for seed in range(12):
        Stumbling(plan, DAY, seed, coverage).visit()
    return coverage


@pytest.mark.slow("dozens of whole visits at random")
def test_everything_said_on_visits_at_random_comes_from_the_catalogue_or_the_sheets(
    plan: Plan, walked: Listening
) -> None:
    coverage = walked
    job, appliance = plan.sheets.job, plan.sheets.appliance
    instrument = job.instrument
    filled = (job.serial, job.site, job.fuel, instrument.name, instrument.serial, appliance.appliance)
    told = {word: text for text in coverage.said for word in known_words(text, *filled)}
    assert not told
    assert not [fault for fault in coverage.faults if "KeyError" in fault]
    assert len(coverage.entered) > 0.8 * len(plan.procedure.gates)


@pytest.mark.slow("the grammar of each question")
def test_everything_listened_for_comes_from_the_catalogue_or_the_procedure(plan: Plan) -> None:
    grammars = [at.grammar for at in hearing_of(plan.procedure, plan.catalogue).grammars]
    words = {word for grammar in grammars for word in grammar.automaton.words()}
    assert {
        word
        for grammar in grammars
        for rule in grammar.rules
        for one in rule.examples()
        for word in known_words(one)
    } == set()
    assert [word for word in words if known_words(word) and word != "[unk]"] == []
    assert len(words) > 200


SPOKEN = {"tell": 0, "ask": 1, "wait": 1, "stop": 2}
"""The methods of a draft that speak, and which argument is the text."""


def test_no_text_is_written_where_the_session_speaks() -> None:
    """What the visits at random may not have reached: no literal with letters is handed to what speaks."""
    found, files = [], []
    for folder in ("session", "gates"):
        files += sorted((ROOT / "handsfree" / folder).rglob("*.py"))
    for file in files:
        for call in _calls(file):
            at = SPOKEN.get(call.func.attr) if isinstance(call.func, ast.Attribute) else None
            if at is not None and at < len(call.args) and _letters(call.args[at]):
                found.append(f"{file.name}:{call.lineno}: {ast.unparse(call.args[at])}")
    assert found == []


def test_every_saying_is_said_and_every_saying_said_is_known() -> None:
    """By name, wherever the program says one; those named by an event are said by another name's value."""
    text = "".join(file.read_text("utf-8") for file in sorted((ROOT / "handsfree").rglob("*.py")))
    known = set(english_words()["sayings"])
    asked = {
        str(call.args[0].value)
        for file in sorted((ROOT / "handsfree" / "session").rglob("*.py"))
        for call in _calls(file)
        if isinstance(call.func, ast.Attribute) and call.func.attr in {"words", "say"} and call.args
        if isinstance(call.args[0], ast.Constant) and "rehearsal" not in file.name
    }
    assert asked <= known
    # "sound-" and the fault, "signs-" and who, the device and "-lost" or "-found", "recheck-", what runs, "-rate"
    put_together = re.compile(r"(sound|signs)-.*|.*-(lost|found)|recheck-.*-rate")
    silent = {name for name in known if f'"{name}"' not in text and f'"{name.replace("-", " ")}"' not in text}
    assert {name for name in silent if not put_together.fullmatch(name)} == set()


def _calls(file: Path) -> Iterator[ast.Call]:
    tree = ast.parse(file.read_text("utf-8"))
    return (node for node in ast.walk(tree) if isinstance(node, ast.Call))


def _letters(argument: ast.expr) -> bool:
    """Say whether a text, or a text with blanks, has letters of its own."""
    parts = argument.values if isinstance(argument, ast.JoinedStr) else [argument]
    return any(isinstance(part, ast.Constant) and re.search(r"[^\W\d_]", str(part.value)) for part in parts)


def test_the_test_itself_sees_a_word_that_is_no_strange_one() -> None:
    assert known_words("Zno zanswerz. Stop") == ["Zno", "Stop"]
    assert strange("CO2 {what}: C o. {job.serial}") == "ZCOZ2 {what}: ZCZ zoz. {job.serial}"
