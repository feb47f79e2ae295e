"""From a finished utterance to the input that is recorded."""

from __future__ import annotations

from collections.abc import Callable

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.record import Event, from_record, to_record
from handsfree.hearing.general.reading import Readings
from handsfree.hearing.listener import Utterance
from handsfree.ledger.personal import PersonalFiles, in_text
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.grammar import UNKNOWN_WORD


def heard_from(utterance: Utterance, began: int, at: int, grammar: str, sound: str | None) -> inp.Heard:
    """Return the utterance as an input; `began` is the visit's time at the zero of the utterance's source."""
    return inp.Heard(
        at=at,
        alternatives=tuple(
            inp.Alternative(
                words=tuple(
                    inp.HeardWord(
                        word=word.word, start_ms=word.start_ms, end_ms=word.end_ms, confidence=word.confidence
                    )
                    for word in one.words
                ),
                score=one.score,
                general=one.general,
                habit=one.habit,
                phones=one.phones,
            )
            for one in utterance.alternatives
        ),
        grammar=grammar,
        started=began + utterance.started_ms,
        ended=began + utterance.ended_ms,
        overflow=utterance.overflow,
        clipped=utterance.clipped,
        over_voice=utterance.during_speech,
        sound=sound,
        general=None
        if utterance.judgement is None
        else inp.GeneralHearing(
            member=utterance.judgement.member,
            text=utterance.judgement.text,
            likelihood=utterance.judgement.likelihood,
            late=utterance.judgement.late,
            stop_alone=utterance.judgement.stop_alone,
            phones=utterance.judgement.phones,
            phone_network=utterance.judgement.phone_network,
            habit=utterance.judgement.habit,
        ),
        above_noise_db=utterance.above_noise_db,
    )


def free_words_put_away(
    heard: inp.Heard, grammar: WordAutomaton, readings: Readings, keep: Callable[[bytes], str]
) -> inp.Heard:
    """Return the input without free words in clear: they may name anybody, and must be erasable.

    Where the grammar takes free talk, `keep` puts what the general recogniser wrote beside the record and returns
    what commits to it; elsewhere it was not said to us and is left out. A sentence of the grammar stays.
    """
    general = heard.general
    if general is None or not general.text or readings.of(general.text, grammar):
        return heard
    put_away: dict[str, object] = {"text": ""}
    if any(UNKNOWN_WORD in one.text and grammar.accepts(one.text) for one in heard.alternatives):
        words = inp.PersonalData(commitment=keep(general.text.encode()), whose="technician", what="words")
        put_away = {"text": in_text(words.commitment), "words": words}
    return heard.model_copy(update={"general": general.model_copy(update=put_away)})


def told_in(event: Event, personal: PersonalFiles) -> Event:
    """Return an event as it is shown on the device, with free words that it commits to put back in."""
    if not isinstance(event, inp.Heard | ev.Said | ev.NotDone | ev.Noted | ev.StepReported):
        return event
    kind, content = to_record(event)
    told = personal.told_in(content)
    return event if told == content else from_record(kind, told)
