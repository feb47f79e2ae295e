"""What is heard in sound files, one row a file, under the grammar of a gate or a general one."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from handsfree.hearing.alternatives import Hypothesis
from handsfree.hearing.listener import Listener, Utterance, whole_utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.resampling import RATE
from handsfree.hearing.sources import Recording, SoundFile, sound_files
from handsfree.lexicon.grammar import Grammar, GrammarRule, answers
from handsfree.lexicon.meaning import Values
from handsfree.lexicon.numbers import NumberForm
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.lexicon.value_rules import Slot, ValuesRule
from handsfree.problem import Problem
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.hearing import hearing_of
from handsfree.questions.grammar import grammar as gate_grammar
from handsfree.questions.rules import everywhere
from handsfree.shipped import procedure_path

ANY_NUMBER = NumberForm(Decimal(-99), Decimal(9999), 0, 3)
SHORT_S = 12.0
"""A file up to this long is heard as one utterance; a longer one is divided at its silences."""


def hear_files(files: Sequence[Path], gate: str | None, accept: str, model: Path) -> Iterator[dict[str, Any]]:
    """Yield a row for each file, in order; folders stand for their sound files."""
    grammar, said = _of_gate(gate) if gate is not None else (_general(accept), None)
    paths = [path for file in files for path in (sound_files(file) if file.is_dir() else (file,))]
    recogniser = Recogniser(model, said)
    recogniser.listen_for(grammar.automaton)
    for path in paths:
        samples = SoundFile(path).samples()
        began = time.perf_counter()
        if samples.size <= SHORT_S * RATE:
            utterances = [whole_utterance(recogniser, grammar.automaton, samples)]
        else:
            listener = Listener(recogniser)
            listener.listen_for(grammar.automaton)
            found = listener.utterances(Recording(samples))
            utterances = [one for one in found if isinstance(one, Utterance)]
        yield _row(path, grammar, utterances, time.perf_counter() - began)


def _row(path: Path, grammar: Grammar, utterances: list[Utterance], seconds: float) -> dict[str, Any]:
    heard = [one for one in utterances if one.alternatives]
    best = [one.alternatives[0] for one in heard]
    alternatives = heard[0].alternatives if len(heard) == 1 else ()
    values = [value for one in best if (value := _value(grammar, one)) is not None]
    return {
        "file": str(path),
        "text": " | ".join(" ".join(one.text) for one in best),
        "value": " | ".join(values) or None,
        "confidence": f"{min(_sure(one) for one in best)}" if best else None,
        "alternatives": [
            {
                "text": " ".join(one.text),
                "value": _value(grammar, one),
                "score": f"{one.score}",
                "confidence": f"{_sure(one)}",
            }
            for one in alternatives
        ],
        "seconds": f"{seconds:.3f}",
    }


def _sure(alternative: Hypothesis) -> Decimal:
    return min((word.confidence for word in alternative.words), default=Decimal(0))


def _value(grammar: Grammar, alternative: Hypothesis) -> str | None:
    """Return the value called, when the words have exactly one; several values of a row stand in order."""
    called = {meaning.values for meaning in grammar.read(alternative.text) if isinstance(meaning, Values)}
    if len(called) != 1:
        return None
    return " ".join(f"{value:f}" if isinstance(value, Decimal) else str(value) for _, value in next(iter(called)))


def _of_gate(text: str) -> tuple[Grammar, Pronunciations]:
    """Return what a gate accepts, and how the words of its procedure are said."""
    procedure, colon, gate_id = text.partition(":")
    if not colon:
        raise Problem(f"{text!r} is not PROCEDURE:GATE", remedy="for example two-rate-combustion:found-maximum")
    loaded = load_procedure(procedure_path(procedure))
    scope = loaded.scope(gate_id)
    asked = loaded.gate(gate_id).gate.questions(scope)
    if not asked:
        raise Problem(f"the gate {gate_id!r} asks nothing", remedy="name one that asks")
    return gate_grammar(asked[0], scope), hearing_of(loaded, loaded.catalogue).pronunciations


def _general(accept: str) -> Grammar:
    catalogue = english()
    names = tuple(name for quantity in catalogue.quantities.values() for name in quantity.heard)
    units = tuple(name for unit in catalogue.units.values() for name in unit.heard)
    reading: GrammarRule = ValuesRule(
        (Slot(catalogue.numbers, "value", ANY_NUMBER, tuple(dict.fromkeys(names)), units),)
    )
    said = catalogue.answers
    confirm: GrammarRule = answers(
        {"affirm": (*said["affirm"], *said["yes"], *said["done"]), "deny": said["deny"]}
    )
    kinds: dict[str, tuple[GrammarRule, ...]] = {
        "reading": (reading,),
        "confirm": (confirm,),
        "all": (reading, confirm, *everywhere(catalogue)),
    }
    if accept not in kinds:
        raise Problem(f"--accept {accept!r} is unknown", remedy=f"say {', '.join(kinds)}")
    return Grammar(kinds[accept])
