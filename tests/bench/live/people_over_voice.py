"""People's bare "stop" over the tool's own voice, half-duplex, 15 dB over burner noise; and other people's talk.

The tool's prompts come back through a calculated room (`tests/hearing/own_voice.py`); recordings of people who
say "stop" alone are laid over them, once and three times in a row. The listener knows what is played, as in a
visit, and the session's own rule decides (`hazard_called`). People whom no network was taught by nor tuned to
stand apart from the others. Few people were recorded: the interval counts trials, the line of people counts them.
Then close talk that is not for us (part kept for the last test) over the same prompts: false stops an hour.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from itertools import islice

import numpy as np

from handsfree.hearing.listener import Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import english
from handsfree.questions.grammar import stop_grammar
from handsfree.session.fusion import hazard_called
from models.training import people
from models.training.split import Part, of_speaker
from tests.bench.hearing.calls import bare_stops
from tests.bench.live import material
from tests.bench.live.figures import AnHour, Figure, Note, Share, Spread
from tests.bench.live.scale import MODEL, Scale
from tests.bench.live.stop_over_voice import AFTER, PROMPTS
from tests.hearing.own_voice import echoed, heard_over, rendered

RATE = material.RATE
ROOM_S = 0.3
ABOVE_DB = (12, 6, 0, -6)
"""How far the person is over the tool's voice at the microphone."""
BELOW_DB = 15
"""How far the burner is below the person: the ratio at which the goal of 97 % is asked."""
PAUSE = np.zeros(RATE // 8)
UNSEEN, TUNED, TAUGHT = "unseen people", "people tuned to", "people taught by"
MINUTES = 20


def figures(scale: Scale) -> Iterator[Figure]:
    """First the stops, by who says them; then other talk."""
    if not material.SPEECH.is_dir():
        yield Figure("not measured", Note("the recordings of ../shared/speech are not here"))
        return
    recogniser, words = Recogniser(MODEL), stop_grammar(english()).automaton
    pronunciations = english().pronounced({})
    prompts = rendered("en-us", PROMPTS[: 2 if scale.quick else 4])
    stops: dict[str, list[tuple[str, np.ndarray]]] = defaultdict(list)
    for _, who, taught, samples in bare_stops(material.SPEECH):
        tuned = who.startswith("an4") and of_speaker("an4", who.split()[-1]) is Part.TUNE
        group = TAUGHT if taught else TUNED if tuned else UNSEEN
        stops[group].append((who, _close(samples())))
    for group in (UNSEEN,) if scale.quick else (UNSEEN, TUNED, TAUGHT):
        for times in (1, 3):
            for above_db in ABOVE_DB if times == 1 or not scale.quick else ABOVE_DB[-2:]:
                yield from _called(
                    f"{group}, {'once' if times == 1 else 'three times'}, {above_db:+d} dB over the tool",
                    [(who, np.concatenate([wave, PAUSE] * times)) for who, wave in stops[group]],
                    prompts,
                    above_db,
                    lambda wave, played: _stops(recogniser, words, pronunciations, wave, played),
                )
    yield from _other_talk(
        scale, prompts, lambda wave, played: _stops(recogniser, words, pronunciations, wave, played)
    )


Ears = Callable[[np.ndarray, np.ndarray], list[tuple[int, str]]]


def _called(
    title: str, calls: list[tuple[str, np.ndarray]], prompts: list[np.ndarray], above_db: int, ears: Ears
) -> Iterator[Figure]:
    """Lay each call over each prompt, and count who was heard."""
    heard: dict[str, list[bool]] = defaultdict(list)
    late = []
    for number, (who, wave) in enumerate(calls):
        for place, prompt in enumerate(prompts):
            played = np.concatenate([prompt, np.zeros(RATE // 10), prompts[(place + 1) % len(prompts)]])
            at = RATE + 1000 * ((number + place) % 8)
            sound = _in_the_room(played, above_db, at + len(wave) + len(AFTER), seed=number)
            sound[at : at + len(wave)] += wave
            told = [ms for ms, name in ears(sound, played) if name == "stop-work" and ms > at / 16]
            heard[who].append(bool(told))
            late += [told[0] - (at + len(wave)) / 16] if told else []
    trials = [one for each in heard.values() for one in each]
    yield Figure(f"{title}: stops", Share(sum(trials), len(trials)))
    yield Figure("    people heard every time", Share(sum(all(each) for each in heard.values()), len(heard)))
    yield Figure("    after the end of the call", Spread.of(late, "ms"))


def _other_talk(scale: Scale, prompts: list[np.ndarray], ears: Ears) -> Iterator[Figure]:
    """Let somebody beside the technician talk as loudly as the tool."""
    seconds, false, left = 0.0, [], 60.0 * scale.many(MINUTES)
    clips = [
        clip
        for collection in ("librispeech-test-clean", "speechocean762", "wake-words")
        for clip in islice(people.clips(material.SPEECH, collection, Part.FINAL), 200)
        if "stop" not in clip.words and clip.seconds < 12
    ]
    chance = np.random.default_rng(5)
    for number in chance.permutation(len(clips)):
        if seconds >= left:
            break
        clip = clips[int(number)]
        wave = material.levelled(clip.samples().astype(np.float64) * 32768)
        played = np.resize(np.concatenate([*prompts, np.zeros(RATE // 5)]), len(wave) + RATE)
        sound = _in_the_room(played, 0, len(played), seed=int(number))
        sound[RATE // 2 : RATE // 2 + len(wave)] += wave
        false += [f"{name} in {clip.name} ({clip.words[:40]!r})" for _, name in ears(sound, played)]
        seconds += len(sound) / RATE
    yield Figure("other people's talk over the tool, as loud: false stops", AnHour(len(false), seconds / 3600))
    for one in false[:6]:
        yield Figure("    as", Note(one))


def _stops(
    recogniser: Recogniser,
    words: WordAutomaton,
    pronunciations: Pronunciations,
    wave: np.ndarray,
    played: np.ndarray,
) -> list[tuple[int, str]]:
    """Return when, in ms, what the listener told is a stop by the session's rule, and which."""
    found = []
    for at_ms, told in heard_over(recogniser, words, wave, played):
        assert isinstance(told, Utterance)
        pairs = [(one.text, one.score) for one in told.alternatives]
        named = hazard_called(english(), pronunciations, pairs)
        found += [(at_ms, named[0])] if named is not None else []
    return found


def _in_the_room(played: np.ndarray, above_db: int, least: int, seed: int) -> np.ndarray:
    """Return the tool's voice as the room returns it, the person that much over it, in the burner's noise."""
    heard = np.concatenate([echoed(played, ROOM_S, seed=seed) * 10 ** (-above_db / 20), AFTER])
    heard = np.pad(heard, (0, max(0, least - len(heard))))
    roar = np.resize(material.burner_noise(10), len(heard))
    return heard + roar * (2000 * 10 ** (-BELOW_DB / 20))


def _close(samples: np.ndarray) -> np.ndarray:
    """Cut most of the silence around a call, and bring it to the level of all speech here."""
    wave = np.asarray(samples, dtype=np.float64) * 32768
    loud = np.flatnonzero(np.abs(wave) > 0.08 * np.abs(wave).max())
    return material.levelled(wave[max(0, loud[0] - RATE // 10) : loud[-1] + RATE // 10])
