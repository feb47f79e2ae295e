"""From a finished utterance to the input that is recorded."""

from __future__ import annotations

from handsfree.events import inputs as inp
from handsfree.hearing.listener import Utterance


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
        ),
    )
