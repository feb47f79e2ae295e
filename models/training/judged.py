"""What was heard of the tuning people, as the margins of judgement are fitted on it.

Files are those of `python -m tests.bench.hearing.visit hear --part tune`. Calls whose label is in doubt are left
out (`tests/bench/hearing/deciding.py`), and utterances of the noise alone, or of a part of a call.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from handsfree.events.inputs import Heard
from handsfree.lexicon.grammar import UNKNOWN_WORD, Grammar
from handsfree.lexicon.meaning import HazardSaid, Meaning
from handsfree.session import general_judgement
from handsfree.session.margins import Margins
from tests.bench.hearing import calls
from tests.bench.hearing.deciding import clip_of, in_doubt

STEP = Decimal("0.25")
AT_LEAST_MS = 50
"""So much of a call must be in an utterance."""


@dataclass(frozen=True)
class Answered:
    """The likeliest answer to a call: its lead over other meanings, its strangeness, whether it was said."""

    lead: Decimal
    strange: Decimal
    right: bool
    ahead: Decimal = Decimal(0)
    """How far free text leads it."""
    phones: Decimal = Decimal(0)
    """How far the likeliest phones lead its own."""
    words: tuple[str, ...] = ()


@dataclass
class Judged:
    """Answers (question, what was heard, what it meant), other talk, the pieces of that, the people."""

    answers: list[tuple[Grammar, Heard, frozenset[Meaning]]] = field(default_factory=list)
    talk: list[tuple[Grammar, Heard]] = field(default_factory=list)
    pieces: int = 0
    people: set[str] = field(default_factory=set)


def judged(files: Iterable[Path], *, beside_noise: bool | None = None) -> Judged:
    """Read what was heard: all, or only where the general recogniser was asked about noise alone, too, or not."""
    kept = Judged()
    heard_of = [one for file in files for one in _found(file)]
    doubted = in_doubt(heard_of)
    for found in heard_of:
        grammar = calls.places()[found["place"]].grammar
        said = frozenset(grammar.read(found["words"]))
        told = [Heard.model_validate(each) for each in found["heard"]]
        heard = [one for one in told if beside_noise in {None, general_judgement.beside_noise(one)}]
        if not found["words"]:
            kept.pieces += bool(heard) or not (told or beside_noise)
            kept.talk += [(grammar, one) for one in heard]
        elif clip_of(found) not in doubted and not any(isinstance(meaning, HazardSaid) for meaning in said):
            kept.people.add(found["speaker"])
            within = [one for one in heard if _holds_the_call(one, found["seconds"])]
            kept.answers += [(grammar, one, said) for one in within if not _ended_early(one, found["words"])]
    return kept


def _found(file: Path) -> list[dict[str, Any]]:
    with gzip.open(file, "rt", encoding="utf-8") as lines:
        return [json.loads(line) for line in lines]


def answered(grammar: Grammar, heard: Heard, said: frozenset[Meaning], margins: Margins) -> Answered | None:
    """Return the likeliest answer by both opinions; None where there is none, or nobody was asked."""
    if not general_judgement.asked(heard):
        return None
    scores = general_judgement.sound_scores(heard, margins)
    meant = [
        (score, place, frozenset(meanings))
        for place, (one, score) in enumerate(zip(heard.alternatives, scores, strict=True))
        if UNKNOWN_WORD not in one.text and (meanings := answers_of(grammar, one.text))
    ]
    if not meant:
        return None
    score, place, meanings = max(meant, key=lambda each: each[0])
    lead = min((score - other for other, _, others in meant if others != meanings), default=Decimal(99))
    strange = general_judgement.strangeness(heard, grammar, place, margins)
    differ = general_judgement.preferred(heard, place, margins)
    if any(other in differ and others != meanings for _, other, others in meant):
        lead = Decimal(0)
    if heard.clipped:
        lead = Decimal(0)
    ahead = general_judgement.free_text_ahead(heard, place), general_judgement.phones_ahead(heard, place, margins)
    return Answered(lead, strange, bool(meanings & said), *ahead, heard.alternatives[place].text)


def _holds_the_call(heard: Heard, seconds: float) -> bool:
    """Say whether an utterance is not of the noise alone, which holds voices: those are other talk."""
    begins, ends = calls.BEFORE_S * 1000, (seconds - calls.AFTER_S) * 1000
    return heard.ended > begins + AT_LEAST_MS and heard.started < ends - AT_LEAST_MS


def _ended_early(heard: Heard, words: Sequence[str]) -> bool:
    """Say whether only a part was heard: no judgement of sounds would help there."""
    best, said = heard.alternatives[0].text if heard.alternatives else (), tuple(words)
    parts = {said[begin : begin + len(best)] for begin in range(len(said))}
    return bool(best) and best != said and best in parts


_read: dict[tuple[int, tuple[str, ...]], list[Meaning]] = {}


def answers_of(grammar: Grammar, words: tuple[str, ...]) -> list[Meaning]:
    """Return what words mean there, stop phrases aside."""
    key = (id(grammar), words)
    if key not in _read:
        _read[key] = [meaning for meaning in grammar.read(words) if not isinstance(meaning, HazardSaid)]
    return _read[key]


def greatest(other: Iterable[Answered], pieces: int, share: float) -> Decimal:
    """Return the greatest strangeness that at most this share of other talk stays below."""
    ranked = sorted(one.strange for one in other)
    allowed = int(share * pieces)
    least = ranked[allowed] if allowed < len(ranked) else ranked[-1]
    return (least / STEP).to_integral_value(rounding="ROUND_FLOOR") * STEP
