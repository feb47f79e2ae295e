"""Hearing a visit again: every stored clip by the office's own model, held against what the record says.

A finding is a reason to listen, not a proof of anything: a recogniser of another version, or one at the edge of
what it can tell, hears some words otherwise. What is doubtful now is not held against the record.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np

from handsfree.events import inputs as inp
from handsfree.hearing.alternatives import Hypothesis
from handsfree.hearing.general.judging import GeneralJudgement
from handsfree.hearing.listener import Utterance, whole_utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.resampling import Samples
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.meaning import HazardSaid
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.rehearing.clips import COPIED, SAME_TAPS, Wave, clip_of, compared, explained, is_silence, is_tone
from handsfree.rehearing.findings import FindingKind, HeardAgain, HeardAgainFinding
from handsfree.rehearing.moments import RecordedUtterance, spoken_in
from handsfree.rehearing.own_voice import OwnVoiceHeard, Render
from handsfree.session.fusion import Interpretation, choose
from handsfree.session.plan import Plan
from handsfree.visit.hearing import heard_from

MOST_ALIKE = 60
"""Of the clips with the same words each is compared with so many before it: more would cost their square."""


class FurtherScorer(Protocol):
    """The general recogniser, where it is installed."""

    def weigh(
        self, samples: Samples, heard: tuple[Hypothesis, ...], grammar: WordAutomaton, noise: Samples
    ) -> tuple[tuple[Hypothesis, ...], GeneralJudgement | None]:
        """Return the alternatives with its word on each, and what it wrote itself."""

    def take_up(self, pronunciations: Pronunciations) -> None:
        """Say words from now on as a procedure spells them."""


@dataclass(frozen=True)
class _Clip:
    moment: RecordedUtterance
    samples: Samples
    wave: Wave


def rehear(
    folder: Path, model: Path, *, general: FurtherScorer | None = None, render: Render | None = None
) -> HeardAgain:
    """Return what a visit's clips hold, heard by the model in a folder, against what its record says.

    `general` is a further recogniser whose opinion is asked too, `render` the tool's own voice; without either
    that is left out. It depends on the visit's folder and the model alone, keeps nothing and sets no limits: run
    it where time and memory are limited, since a record is anybody's. Raises Problem when the record, or the
    procedure kept with it, cannot be read.
    """
    spoken = spoken_in(folder)
    clips = [
        _Clip(moment, samples, compared(samples))
        for moment in spoken.moments
        if moment.heard.sound is not None and (samples := clip_of(folder, moment.heard.sound)) is not None
    ]
    found = [*_by_nature(clips), *_copies(clips)]
    if render is not None:
        found += _in_own_voice(clips, render)
    no_speech = {one.seq for one in found if one.kind in {"silence", "tone"}}
    recogniser = Recogniser(model, spoken.plan.pronunciations)
    if general is not None:
        general.take_up(spoken.plan.pronunciations)
    speech = [one for one in clips if one.moment.seq not in no_speech]
    by_words = list(_by_words(spoken.plan, speech, recogniser, general))
    otherwise = {one.seq for one in (*found, *by_words)}
    return HeardAgain(
        model=recogniser.folder.identity,
        further=general is not None,
        voice=render is not None,
        spoken=len(spoken.moments),
        typed=spoken.typed,
        without_sound=len(spoken.moments) - len(clips),
        alike=len(clips) - len(otherwise),
        findings=tuple(sorted([*found, *by_words], key=lambda one: (one.seq, one.kind))),
    )


def _by_nature(clips: Sequence[_Clip]) -> Iterator[HeardAgainFinding]:
    for clip in clips:
        if is_silence(clip.samples):
            yield _finding("silence", clip, "", "the clip holds no sound at all")
        elif is_tone(clip.samples):
            yield _finding("tone", clip, "", "the clip is a steady tone, not speech")


def _copies(clips: Sequence[_Clip]) -> Iterator[HeardAgainFinding]:
    """Find clips that were used before: the same samples, or the same sound moved, louder or filtered a little.

    People never say a word twice alike to the sample. Sounds are compared among the clips with the same words on
    record: a copy that stands for other words is heard otherwise.
    """
    files: dict[str, int] = {}
    before: dict[tuple[str, ...], list[_Clip]] = defaultdict(list)
    for clip in clips:
        samples, words = hashlib.sha256(clip.samples.tobytes()).hexdigest(), _words(clip.moment.heard)
        first = files.get(samples)  # no two files have one name: each has a salt
        if first is None and not is_tone(clip.samples):
            first = next(
                (
                    one.moment.seq
                    for one in before[words][-MOST_ALIKE:]
                    if explained(clip.wave, one.wave, SAME_TAPS) >= COPIED
                ),
                None,
            )
        files.setdefault(samples, clip.moment.seq)
        if first is None:
            before[words].append(clip)
        else:
            yield _finding("used again", clip, "", f"the same sound as in entry {first}")


def _in_own_voice(clips: Sequence[_Clip], render: Render) -> Iterator[HeardAgainFinding]:
    own = OwnVoiceHeard(render)
    for clip in clips:
        if clip.moment.heard.over_voice:
            continue  # the tool was speaking: only stop words act there
        answer = " ".join(_words(clip.moment.heard))
        text = own.in_clip(clip.wave, [answer, *reversed(clip.moment.said)])
        if text:
            yield _finding("own voice", clip, text, f"the voice of the tool says “{_short(text)}” in the clip")


def _by_words(
    plan: Plan, clips: Sequence[_Clip], recogniser: Recogniser, general: FurtherScorer | None
) -> Iterator[HeardAgainFinding]:
    """Hear clips again, those of one grammar after the other: taking up a grammar costs as much as some words."""
    groups: dict[str, list[_Clip]] = defaultdict(list)
    for clip in clips:
        groups[clip.moment.grammar.automaton.identity].append(clip)
    for group in groups.values():
        for clip in group:
            moment = clip.moment
            utterance = whole_utterance(recogniser, moment.grammar.automaton, clip.samples)
            found = _compared(plan, clip, _as_heard(moment.heard, utterance))
            if found is None and general is not None:
                automaton, nothing = moment.grammar.automaton, np.zeros(0, np.int16)
                weighed, judgement = general.weigh(clip.samples, utterance.alternatives, automaton, nothing)
                further = replace(utterance, alternatives=weighed, judgement=judgement)
                found = _further(plan, clip, _as_heard(moment.heard, further))
            if found is not None:
                yield found


def _as_heard(recorded: inp.Heard, utterance: Utterance) -> inp.Heard:
    again = heard_from(utterance, recorded.started, recorded.at, recorded.grammar, recorded.sound)
    around = ("over_voice", "overflow", "above_noise_db")  # the clip alone does not tell these
    return again.model_copy(update={name: getattr(recorded, name) for name in around})


def _compared(plan: Plan, clip: _Clip, again: inp.Heard) -> HeardAgainFinding | None:
    """Return how what is heard now differs in meaning from what was recorded; None where it does not."""
    moment = clip.moment
    told = choose(plan, moment.state, moment.grammar, moment.heard)
    now = choose(plan, moment.state, moment.grammar, again)
    text = _text(again)
    if told.meaning is None:
        missed = isinstance(now.meaning, HazardSaid)
        says = f"“{text}” is heard; the record took nothing from it"
        return _finding("stop missed", clip, text, says) if missed else None
    if isinstance(now.meaning, HazardSaid) and not isinstance(told.meaning, HazardSaid) and not now.doubt:
        return _finding(
            "stop missed", clip, text, f"“{text}” is heard; the record has “{_told(moment.heard, told)}”"
        )
    doubtful = now.doubt if now.meaning is not None else told.doubt
    if told.meaning == now.meaning or (told.meaning in now.competing and doubtful):
        return None  # the same, or either may have been said
    record = f"the record has “{_told(moment.heard, told)}”"
    if now.meaning is None:
        return _finding("not heard", clip, text, f"{record}; heard is {f'“{text}”' if text else 'nothing'}")
    return _finding("otherwise", clip, text, f"{record}; heard is “{_told(again, now)}”")


def _further(plan: Plan, clip: _Clip, again: inp.Heard) -> HeardAgainFinding | None:
    """Return a finding where the further recogniser is sure of another meaning than the one on record."""
    moment = clip.moment
    told = choose(plan, moment.state, moment.grammar, moment.heard)
    now = choose(plan, moment.state, moment.grammar, again)
    if told.meaning is None or now.meaning is None or now.doubt or now.meaning == told.meaning:
        return None
    says = f"the record has “{_told(moment.heard, told)}”; a further recogniser hears “{_told(again, now)}”"
    return _finding("otherwise", clip, _text(again), says)


def _finding(kind: FindingKind, clip: _Clip, heard: str, says: str) -> HeardAgainFinding:
    moment = clip.moment
    recorded = " ".join(_words(moment.heard))
    return HeardAgainFinding(kind, moment.seq, moment.heard.at, recorded, heard, says, str(moment.heard.sound))


def _words(heard: inp.Heard) -> tuple[str, ...]:
    return heard.alternatives[0].text if heard.alternatives else ()


def _text(heard: inp.Heard) -> str:
    return _short(" ".join(_words(heard)))


def _told(heard: inp.Heard, chosen: Interpretation) -> str:
    return _short(" ".join(chosen.words or _words(heard)))


def _short(text: str) -> str:
    return text if len(text) <= 80 else f"{text[:79]}…"
