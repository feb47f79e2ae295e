"""Choosing one meaning from what was heard: the recogniser's alternatives, the grammar, and physics.

Where the general recogniser was asked, its likelihoods are added to our scores, and how much better its free
text fits than the answer tells speech that is not for us (`general_judgement.py`). How far one must lead another
is fitted, with that opinion and without it (`margins.yaml`); the constants here are rules.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import partial

from handsfree.events.inputs import Alternative, Heard
from handsfree.events.state import State
from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.grammar import UNKNOWN_WORD, Grammar
from handsfree.lexicon.meaning import OVER_RANGE, TOLD, Answer, Correction, HazardSaid, InUnit, Meaning, Values
from handsfree.lexicon.numbers import Numbers
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.measurement.reading import Reading
from handsfree.session import general_judgement
from handsfree.session.margins import LONG_STOPS, MARGINS, Points, in_quiet
from handsfree.session.margins import at as margin_at
from handsfree.session.plan import Plan
from handsfree.session.situation import known_at
from handsfree.trades.plausibility import Known

LIMIT_MARGIN = Decimal("4.0")
"""The lead over a meaning with a value beyond a stop limit: to miss one is the worse fault."""

SECOND_MARGIN = Decimal("2.0")
"""The lead that is enough for a second, independent hearing of the value that was heard the first time."""

UNKNOWN_MARGIN = Decimal("2.0")
"""Speech outside the grammar that leads an answer by less leaves it only slightly doubtful."""

SHORT_PHONES = 6
"""A stop phrase of fewer phones must lead the others: a snatch of other talk is often heard as one."""

LEAST_CONFIDENCE = Decimal("0.60")
"""A word below this makes its utterance doubtful. High confidence proves nothing (it is often 1.0 and wrong)."""

STEP = Decimal("0.001")


@dataclass(frozen=True)
class Candidate:
    """A meaning with its weighed score, the quantities it calls, and the alternative it came from."""

    meaning: Meaning
    score: Decimal
    alternative: int
    beyond: bool
    """It calls a value beyond a stop limit: no prior may argue it away."""
    sound: Decimal
    """The score by its sound alone."""


@dataclass(frozen=True)
class Interpretation:
    """The chosen meaning, or None with the reason; the runners-up; and what speaks against it."""

    meaning: Meaning | None
    doubt: str = ""
    onset: int = 0
    competing: tuple[Meaning, ...] = ()
    why: str = ""
    slight: bool = False
    """The doubt is slight: no other meaning is near, and speech outside the grammar leads by little or not."""
    words: tuple[str, ...] = ()
    """The words that were chosen."""


@dataclass(frozen=True)
class Knowledge:
    """What a choice may lean on beside the sound: the words, and what the visit knows of called values."""

    catalogue: Catalogue
    pronunciations: Pronunciations
    prior: Callable[[Values], tuple[Decimal, bool]]
    """The log prior of called values, and whether one opens a stop limit."""
    confirms: Callable[[Meaning], bool]
    """Whether a second call gives the very value that is pending."""


def choose(plan: Plan, state: State, grammar: Grammar, heard: Heard) -> Interpretation:
    """Return what an utterance means at the question at hand."""
    prior, confirms = partial(_prior, plan, state), partial(_confirms, state)
    return _chosen(Knowledge(plan.catalogue, plan.pronunciations, prior, confirms), grammar, heard)


def choose_by_sound(
    catalogue: Catalogue, pronunciations: Pronunciations, grammar: Grammar, heard: Heard
) -> Interpretation:
    """Return what an utterance means where no visit is under way: no value is likelier than another."""
    known = Knowledge(catalogue, pronunciations, lambda _: (Decimal(0), False), lambda _: False)
    return _chosen(known, grammar, heard)


def _chosen(known: Knowledge, grammar: Grammar, heard: Heard) -> Interpretation:
    if not heard.alternatives:
        return Interpretation(None, why="nothing heard")
    onset = _onset(heard)
    best = heard.alternatives[0]
    hazard = hazard_heard(known.catalogue, known.pronunciations, grammar, heard)
    if hazard is not None:
        name, words = hazard
        return Interpretation(HazardSaid(name), onset=onset, words=words)
    candidates = sorted(_candidates(known, grammar, heard), key=lambda c: (-c.score, c.alternative))
    if not candidates:
        why = "unknown speech" if UNKNOWN_WORD in best.text else "not a whole answer"
        return Interpretation(None, why=why, onset=onset)
    if heard.overflow:
        return Interpretation(None, why="sound was lost", onset=onset)
    if general_judgement.asked(heard):
        return _with_general_judgement(known, grammar, heard, candidates)
    return _by_our_recogniser(known, grammar, heard, candidates)


def _by_our_recogniser(
    known: Knowledge, grammar: Grammar, heard: Heard, candidates: Sequence[Candidate]
) -> Interpretation:
    """Return the likeliest meaning by our own recogniser alone, and what speaks against it."""
    onset, best, winner = _onset(heard), heard.alternatives[0], candidates[0]
    chosen = heard.alternatives[winner.alternative]
    margin = SECOND_MARGIN if known.confirms(winner.meaning) else MARGINS.ours_value
    competing = _competing(winner, candidates, margin)
    unknown = UNKNOWN_WORD in best.text and not grammar.read(best.text)
    lead = best.score - chosen.score if unknown else Decimal(0)
    if lead > MARGINS.ours_strange:
        return Interpretation(None, why="unknown speech", onset=onset, competing=(winner.meaning, *competing))
    doubt = ""
    if competing:
        doubt = f"close to {describe(competing[0])}"
    elif unknown:
        doubt = "other speech is as likely"
    elif _confidence(chosen) < LEAST_CONFIDENCE:
        doubt = "low confidence"
    elif heard.clipped:
        doubt = "the sound was clipped"
    slight = not competing and lead < UNKNOWN_MARGIN and not heard.clipped
    return Interpretation(winner.meaning, doubt, onset, competing, slight=slight, words=chosen.text)


def _with_general_judgement(
    known: Knowledge, grammar: Grammar, heard: Heard, candidates: Sequence[Candidate]
) -> Interpretation:
    """Return the likeliest meaning by both opinions, and what speaks against it."""
    onset, winner = _onset(heard), candidates[0]
    chosen = heard.alternatives[winner.alternative]
    ahead = general_judgement.free_text_ahead(heard, winner.alternative)
    phones_ahead = general_judgement.phones_ahead(heard, winner.alternative)
    wanted = general_judgement.lead_wanted(ahead)
    margin = min(SECOND_MARGIN, wanted) if known.confirms(winner.meaning) else wanted
    differ = general_judgement.preferred(heard, winner.alternative)
    other = [one.meaning for one in candidates if one.alternative in differ and one.meaning != winner.meaning]
    competing = tuple(dict.fromkeys([*_competing(winner, candidates, margin), *other]))
    strange = general_judgement.strangeness(heard, grammar, winner.alternative)
    at_once, at_all, apart = general_judgement.limits(
        heard, phones(known.pronunciations, chosen.text), values=isinstance(winner.meaning, Values | Correction)
    )
    if strange > at_all:
        return Interpretation(None, why="unknown speech", onset=onset, competing=(winner.meaning, *competing))
    doubt = ""
    if competing:
        doubt = f"close to {describe(competing[0])}"
    elif strange > at_once or ahead > MARGINS.free_ahead or phones_ahead > apart:
        doubt = "other speech is as likely"
    elif heard.clipped:
        doubt = "the sound was clipped"
    slight = not competing and strange < at_once + UNKNOWN_MARGIN and not heard.clipped
    return Interpretation(winner.meaning, doubt, onset, competing, slight=slight, words=chosen.text)


def choose_typed(plan: Plan, grammar: Grammar, text: str) -> Interpretation:
    """Return what typed words mean; keys are trusted, but words that mean two things are not."""
    words = _spoken(plan.catalogue.numbers, text)
    meanings = grammar.read_typed(words)
    hazard = hazard_typed(plan.catalogue, text)
    if hazard is not None and not (Answer(TOLD) in meanings and not _is_phrase(plan.catalogue, words)):
        return Interpretation(HazardSaid(hazard), words=words)
    if not meanings:
        return Interpretation(None, why="no answer to this")
    competing = meanings[1:]
    return Interpretation(
        meanings[0], "it has two meanings" if competing else "", competing=competing, words=words
    )


def hazard_typed(catalogue: Catalogue, text: str) -> str | None:
    """Return the hazard that typed words call, whatever stands between them and however they are written."""
    plain = re.sub(r"[^\w' ]", " ", text.lower())
    return catalogue.hazard_of(plain, typed=True) or catalogue.hazard_of(catalogue.as_heard(text), typed=True)


def _is_phrase(catalogue: Catalogue, words: Sequence[str]) -> bool:
    """Say whether the words are a stop phrase and nothing else: in free words it may be what is told of."""
    text = " ".join(words)
    return any(text in (*one.heard, *one.alone, *one.typed) for one in catalogue.hazards.values())


def hazard_heard(
    catalogue: Catalogue, pronunciations: Pronunciations, grammar: Grammar, heard: Heard
) -> tuple[str, tuple[str, ...]] | None:
    """Return the hazard that an utterance calls out clearly enough, and the words that did, or None.

    By `hazard_called`; and, where phones were told, a long phrase that leads everything by both together, no
    stranger than an answer that is taken without a question.
    """
    called = hazard_called(
        catalogue,
        pronunciations,
        [(alternative.text, alternative.score) for alternative in heard.alternatives],
        general_judgement.likenesses(heard),
        heard.above_noise_db,
        doubted=general_judgement.stop_doubted(heard),
        apart=general_judgement.phones_apart(heard),
    )
    known = [place for place, one in enumerate(heard.alternatives) if UNKNOWN_WORD not in one.text]
    told = heard.general is not None and heard.general.phones is not None
    if called is not None or not known or not told or not general_judgement.asked(heard):
        return called
    scores = general_judgement.sound_scores(heard)
    first = max(known, key=lambda place: scores[place])
    words = heard.alternatives[first].text
    name = catalogue.hazard_of(" ".join(words))
    if name is None or is_short(pronunciations, words):
        return None
    strange = general_judgement.strangeness(heard, grammar, first)
    at_once, _, apart = general_judgement.limits(heard, phones(pronunciations, words), values=False)
    near = strange <= at_once and general_judgement.phones_ahead(heard, first) <= apart
    return (name, words) if near else None


def hazard_called(
    catalogue: Catalogue,
    pronunciations: Pronunciations,
    heard: Sequence[tuple[Sequence[str], Decimal]],
    likeness: Sequence[Decimal | None] = (),
    above_noise_db: Decimal | None = None,
    *,
    doubted: bool = False,
    apart: Sequence[Decimal] = (),
) -> tuple[str, tuple[str, ...]] | None:
    """Return the hazard that alternatives (words and score, the best first) call out clearly enough, or None.

    With it, the words that called it. `likeness` holds, where the general recogniser was asked, how close each
    comes to its free text: that may add a phrase, and never takes a long one away. `above_noise_db` is how far the
    speech stood above the noise, where that is known. `doubted`: the short one that leads is not like it.
    `apart` tells how far the likeliest phones lead those of each, where phones can tell: a short one whose phones
    are not there is not added so easily, and a long one acts all the same where it leads.
    """
    names = [catalogue.hazard_of(" ".join(words)) for words, _ in heard]
    for place, ((words, score), name) in enumerate(zip(heard, names, strict=True)):
        if name is None:
            continue
        others = [other for (_, other), named in zip(heard, names, strict=True) if named != name]
        wanted = margin_at(lead_wanted(pronunciations, words), above_noise_db)
        acts = all(score - other >= wanted for other in others)
        alike = likeness[place] if likeness else None
        if is_short(pronunciations, words):
            acts = acts and not (doubted and place == 0)
            other = MARGINS.other_phones * max(Decimal(0), apart[place]) if apart else Decimal(0)
            added = alike is not None and alike - other >= MARGINS.stop
        else:
            acts = acts and not (apart and place > 0 and apart[place] > MARGINS.long_stop_phones)
            added = alike is not None and score > MARGINS.listed and alike >= MARGINS.stop_long
        if acts or added:
            return name, tuple(words)
    return None


def lead_wanted(pronunciations: Pronunciations, words: Sequence[str]) -> Points:
    """Return by how much a stop phrase must lead all that calls no such stop, by how far it is above the noise."""
    if is_short(pronunciations, words):
        return MARGINS.ours_short_stop
    return in_quiet(MARGINS, LONG_STOPS.get(" ".join(words), -MARGINS.ours_stop))


def is_short(pronunciations: Pronunciations, words: Sequence[str]) -> bool:
    """Say whether a stop phrase is so short that other talk is easily heard as one."""
    return phones(pronunciations, words) < SHORT_PHONES


def phones(pronunciations: Pronunciations, words: Sequence[str]) -> int:
    """Return how many phones words have."""
    return sum(_length(pronunciations, word) for word in words)


def _length(pronunciations: Pronunciations, word: str) -> int:
    """Return the phones of a word, or its letters where nobody told how it sounds."""
    return len(next(iter(pronunciations.of(word)), word))


def _confirms(state: State, meaning: Meaning) -> bool:
    """Say whether a second call gives the very value that is pending."""
    if not state.question.manner.second_call or not isinstance(meaning, Values):
        return False
    quantity, called = meaning.values[0]
    pending = state.pending.values.get(quantity)
    if pending is None or not isinstance(called, InUnit):
        return pending is not None and not pending.called_unit and pending.value == str(called)
    return (pending.called, pending.called_unit) == (f"{called.value:f}", called.unit)


def _competing(winner: Candidate, candidates: Sequence[Candidate], margin: Decimal) -> tuple[Meaning, ...]:
    """Return the other meanings too near the winner to be let go, the nearest first.

    A value beyond a stop limit stays near by its sound alone, however improbable what was called with it. It must
    be led by as much as any other, which differs with who was asked, and never by less than `LIMIT_MARGIN`.
    """
    near = [
        candidate.meaning
        for candidate in candidates
        if winner.score - candidate.score < margin
        or (candidate.beyond and winner.sound - candidate.sound < max(LIMIT_MARGIN, margin))
    ]
    return tuple(dict.fromkeys(meaning for meaning in near if meaning != winner.meaning))


def _spoken(numbers: Numbers, text: str) -> tuple[str, ...]:
    """Return typed text as words: digits are spoken one by one, so that "9.3" reads as it is said."""
    words: list[str] = []
    for written in _pieces(numbers, text.lower()):
        piece = written.strip("!?;:").rstrip(".")  # a sentence's own marks are no part of its words
        words += numbers.typed(piece) or ([piece] if piece else [])
    return tuple(words)


def _pieces(numbers: Numbers, text: str) -> list[str]:
    """Return typed text in pieces; a comma parts them, except between digits where it is the language's point.

    A hyphen between letters parts words that are heard as two: "counter-clockwise", as the tool writes it.
    """
    text = re.sub(r"(?<=[^\W\d_])-(?=[^\W\d_])", " ", text)
    if numbers.written_point == ",":
        return re.sub(r",(?!\d)|(?<!\d),", " ", text).split()
    return text.replace(",", " ").split()


def describe(meaning: Meaning) -> str:
    """Return a meaning in the words of the record."""
    if isinstance(meaning, Values):
        values = ", ".join(f"{quantity} {value}" for quantity, value in meaning.values)
        rates = "".join(f"; rate {rate}" for rate in (meaning.before, meaning.after) if rate)
        return values + rates
    fields = ", ".join(str(value) for value in vars(meaning).values() if value is not None)
    return f"{type(meaning).__name__.lower()} {fields}"


def _candidates(known: Knowledge, grammar: Grammar, heard: Heard) -> Iterable[Candidate]:
    sound = general_judgement.sound_scores(heard)
    for number, alternative in enumerate(heard.alternatives):
        for meaning in grammar.read(alternative.text):
            if isinstance(meaning, HazardSaid):
                continue  # it was not called clearly enough, and is no answer
            prior, beyond = known.prior(meaning) if isinstance(meaning, Values) else (Decimal(0), False)
            yield Candidate(meaning, (sound[number] + prior).quantize(STEP), number, beyond, sound[number])


def _prior(plan: Plan, state: State, meaning: Values) -> tuple[Decimal, bool]:
    """Return the log prior of called values, each given those before it, and whether one opens a stop limit."""
    known, trade = known_at(plan, state), plan.trade
    total, beyond = Decimal(0), False
    for quantity, value in meaning.values:
        if isinstance(value, Decimal | InUnit):
            reading = plan.reading(quantity, value)
            total += trade.plausibility.log_prior(known, reading)
            beyond = beyond or trade.stops.opens(plan.sheets, known.this_set, reading)
            known = _with(known, reading)
        else:
            beyond = beyond or value == OVER_RANGE
    return total, beyond


def _with(known: Known, reading: Reading) -> Known:
    return replace(known, this_set={**known.this_set, reading.quantity: reading})


def _onset(heard: Heard) -> int:
    words = heard.alternatives[0].words
    return heard.started + words[0].start_ms if words else heard.started


def _confidence(alternative: Alternative) -> Decimal:
    return min((word.confidence for word in alternative.words), default=Decimal(0))
