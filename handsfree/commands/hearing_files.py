"""What is heard in sound files, one row a file, at a gate as a visit hears it, or under a general grammar."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

from handsfree.commands.general_recogniser import plan_to_ask
from handsfree.commands.trial_recogniser import Choose, Judged, TrialRecogniser, at_question, example_plan
from handsfree.events.inputs import Heard
from handsfree.hearing.resampling import RATE
from handsfree.hearing.sources import SoundFile, sound_files
from handsfree.lexicon.grammar import Grammar, GrammarRule, answers
from handsfree.lexicon.meaning import Meaning, Values
from handsfree.lexicon.numbers import NumberForm
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.lexicon.value_rules import Slot, ValuesRule
from handsfree.problem import Problem
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.hearing import hearing_of
from handsfree.questions.rules import everywhere
from handsfree.session.fusion import choose_by_sound
from handsfree.session.general_judgement import sound_scores
from handsfree.session.how_sure import how_sure
from handsfree.shipped import procedure_path

ANY_NUMBER = NumberForm(Decimal(-99), Decimal(9999), 0, 3)
SHORT_S = 12.0
"""A file up to this long is heard as one utterance; a longer one is divided at its silences."""


def hear_files(
    files: Sequence[Path],
    gate: str | None,
    accept: str,
    model: Path,
    *,
    ask_general: bool = True,
    general_model: Path | None = None,
) -> Iterator[dict[str, Any]]:
    """Yield a row for each file, in order; folders stand for their sound files."""
    grammar, said, choose_at = _of_gate(gate) if gate is not None else _general(accept)
    paths = [path for file in files for path in (sound_files(file) if file.is_dir() else (file,))]
    recogniser: TrialRecogniser | None = None
    for path in paths:
        samples = SoundFile(path).samples()
        if recogniser is None:
            general = plan_to_ask(english(), asked=ask_general, folder=general_model)
            recogniser = TrialRecogniser(model, said, english(), general)
        began = time.perf_counter()
        if samples.size <= SHORT_S * RATE:
            judged: Sequence[Judged] = [recogniser.whole(samples, grammar, choose_at)]
        else:
            judged = recogniser.each(samples, grammar, choose_at)
        yield _row(path, grammar, judged, time.perf_counter() - began)


def _row(path: Path, grammar: Grammar, judged: Sequence[Judged], seconds: float) -> dict[str, Any]:
    heard = [(one, one.heard) for one in judged if one.heard is not None and one.heard.alternatives]
    values = [value for one, _ in heard if (value := _value(one.meaning)) is not None]
    sure = [probability for _, what in heard if (probability := how_sure(what)) is not None]
    return {
        "file": str(path),
        "text": " | ".join(one.text for one, _ in heard),
        "value": " | ".join(values) or None,
        "does": " | ".join(one.does for one, _ in heard) or "not heard",
        "why": " | ".join(one.why for one, _ in heard if one.why) or None,
        "confidence": f"{min(sure)}" if sure else None,
        "alternatives": _alternatives(grammar, heard[0][1]) if len(heard) == 1 else [],
        "seconds": f"{seconds:.3f}",
    }


def _alternatives(grammar: Grammar, heard: Heard) -> list[dict[str, str | None]]:
    """Return what was listed, the likeliest by all who were asked first, with the score behind the best."""
    scored = sorted(zip(sound_scores(heard), heard.alternatives, strict=True), key=lambda each: -each[0])
    best = scored[0][0]
    return [
        {
            "text": " ".join(one.text),
            "value": _called(grammar, one.text),
            "score": f"{score - best}",
            "third_opinion": None if one.general is None else f"{one.general}",
        }
        for score, one in scored
    ]


def _called(grammar: Grammar, words: Sequence[str]) -> str | None:
    """Return the value called, when the words have exactly one."""
    called = {told for meaning in grammar.read(words) if (told := _value(meaning)) is not None}
    return next(iter(called)) if len(called) == 1 else None


def _value(meaning: Meaning | None) -> str | None:
    """Return called values; several of a row stand in order."""
    if not isinstance(meaning, Values):
        return None
    return " ".join(f"{value:f}" if isinstance(value, Decimal) else str(value) for _, value in meaning.values)


def _of_gate(text: str) -> tuple[Grammar, Pronunciations, Choose]:
    """Return what a gate accepts, how the words of its procedure are said, and how a visit chooses there."""
    procedure, colon, gate_id = text.partition(":")
    if not colon:
        raise Problem(f"{text!r} is not PROCEDURE:GATE", remedy="for example two-rate-combustion:found-maximum")
    loaded = load_procedure(procedure_path(procedure))
    asked = loaded.gate(gate_id).gate.questions(loaded.scope(gate_id))
    if not asked:
        raise Problem(f"the gate {gate_id!r} asks nothing", remedy="name one that asks")
    plan = example_plan(loaded)
    grammar = plan.grammar(asked[0], gate_id)
    pronunciations = hearing_of(loaded, loaded.catalogue).pronunciations
    return grammar, pronunciations, at_question(plan, gate_id, asked[0], grammar)


def _general(accept: str) -> tuple[Grammar, Pronunciations, Choose]:
    catalogue = english()
    names = tuple(name for quantity in catalogue.quantities.values() for name in quantity.heard)
    units = tuple(name for unit in catalogue.units.values() for name in unit.heard)
    reading: GrammarRule = ValuesRule(
        (Slot(catalogue.numbers, "value", ANY_NUMBER, tuple(dict.fromkeys(names)), units),)
    )
    answered = catalogue.answers
    confirm: GrammarRule = answers(
        {"affirm": (*answered["affirm"], *answered["yes"], *answered["done"]), "deny": answered["deny"]}
    )
    kinds: dict[str, tuple[GrammarRule, ...]] = {
        "reading": (reading,),
        "confirm": (confirm,),
        "all": (reading, confirm, *everywhere(catalogue)),
    }
    if accept not in kinds:
        raise Problem(f"--accept {accept!r} is unknown", remedy=f"say {', '.join(kinds)}")
    grammar, said = Grammar(kinds[accept]), Pronunciations()
    return grammar, said, partial(choose_by_sound, catalogue, said, grammar)
