"""What the screen remembers of the events so far, beyond the state of the visit: a pure fold over them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.record import Event


@dataclass(frozen=True)
class LastHeard:
    """The last thing said or typed, and what became of it."""

    at: int
    words: str
    typed: bool = False
    understood: bool = False
    meaning: str = ""
    """The values as they were read back; empty for anything else."""
    why: str = ""
    """Why it was not understood, or why it was in doubt."""
    clipped: bool = False
    overflow: bool = False


@dataclass(frozen=True)
class Notes:
    """What was heard last, how the present question was first put, the last verdict, and the stop."""

    heard: LastHeard | None = None
    question: str = ""
    verdict: ev.VerdictGiven | None = None
    advised: ev.Advised | None = None
    stopped: ev.Stopped | None = None
    poor: inp.SoundPoor | None = None
    """Why the sound was too poor to be led by, until something was understood again."""
    settling: Mapping[str, ev.SettlingJudged] = field(default_factory=lambda: MappingProxyType({}))
    """The last judgement of each quantity at the gate at hand."""


def noticed(notes: Notes, events: Iterable[Event]) -> Notes:
    """Return the notes after the events, inputs and decisions alike, in their order."""
    for event in events:
        notes = _noticed(notes, event)
    return notes


def _noticed(notes: Notes, event: Event) -> Notes:  # noqa: C901, PLR0911, PLR0912 - a case for each that is shown
    match event:
        case inp.Heard():
            words = " ".join(event.alternatives[0].text) if event.alternatives else ""
            words = event.general.text if event.general and event.general.words else words
            return replace(notes, heard=LastHeard(event.at, words, clipped=event.clipped, overflow=event.overflow))
        case inp.Typed():
            return replace(notes, heard=LastHeard(event.at, event.text, typed=True))
        case inp.SoundPoor():
            return replace(notes, poor=event)
        case ev.Understood() if notes.heard is not None:
            return replace(
                notes, poor=None if not notes.heard.typed else notes.poor, heard=_became(notes.heard, event)
            )
        case ev.Asked() if event.attempt == 1 and event.text:
            return replace(notes, question=event.text)
        case ev.VerdictGiven():
            return replace(notes, verdict=event)
        case ev.Advised():
            return replace(notes, advised=event)
        case ev.Stopped():
            return replace(notes, stopped=event)
        case ev.GateEntered():
            return replace(notes, question="", settling=MappingProxyType({}))
        case ev.SetVoided():
            return replace(notes, settling=MappingProxyType({}))
        case ev.SettlingJudged():
            return replace(notes, settling=MappingProxyType({**notes.settling, event.quantity: event}))
        case _ if notes.heard is not None:
            return replace(notes, heard=_became(notes.heard, event))
        case _:
            return notes


def _became(heard: LastHeard, event: Event) -> LastHeard:
    """Return what was heard last with what an event tells of it."""
    match event:
        case ev.Understood():
            return replace(heard, understood=True, why=event.doubt)
        case ev.NotUnderstood():
            return replace(heard, understood=False, why=event.why)
        case ev.ReadBack():
            return replace(heard, meaning="  ".join(one.value for one in event.values))
        case _:
            return heard
