"""What people call at the shipped gates, and what is said there that is not for us; `playing.py` plays it."""

from __future__ import annotations

import io
import random
import shutil
import subprocess
import zlib
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample_poly

from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.grammar import Grammar
from handsfree.lexicon.meaning import Values
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.hearing import hearing_of
from handsfree.questions import Question
from handsfree.questions.grammar import stop_grammar
from models.training import people, recordings
from models.training.loudness import gains
from models.training.split import Part, of_speaker
from tests.bench.hearing import new_words
from tests.bench.hearing.conditions import CONDITIONS
from tests.bench.hearing.material import RATE, ROOT, close, flite

PROCEDURE = ROOT / "procedures" / "two-rate-combustion.yaml"
RATIOS: tuple[float | None, ...] = (None, 20.0, 10.0, 5.0, 0.0)
STOP_RATIOS: tuple[float | None, ...] = (None, 15.0, 10.0, 0.0)
BEFORE_S, AFTER_S = 1.6, 1.3
FAINT = 3.0
"""Units of noise under a clean recording: no microphone is silent."""
VOICES = {Part.TUNE: ("en-us+f2", "en-gb+Lee"), Part.FINAL: ("en-us+Alicia", "en-gb-x-rp+Michael", "flite rms")}
"""Voices that no network of ours was taught by (`models/training/voices.py` names those that were); of them those
whose program is installed are played."""
MAXIMUM = "maximum"
UNRATED = "row without rate"
"""Where no rate is held, a whole row is heard without one; everywhere else it ends with its rate."""
OXYGEN_OF_AIR, MOST_DIOXIDE = 20.9, 11.7
"""Percent; the second is that of natural gas burnt in just enough air."""


@dataclass(frozen=True)
class Place:
    """A question of the shipped procedure at a gate."""

    name: str
    gate: str
    question: Question
    grammar: Grammar


@dataclass(frozen=True)
class Call:
    """Something said at a place; `words` are what was said for us, none where nothing was."""

    task: str
    name: str
    speaker: str
    words: tuple[str, ...]
    place: str
    sound: Callable[[], np.ndarray]
    ratios: tuple[float | None, ...] = RATIOS


@cache
def stop_words() -> WordAutomaton:
    """Return the stop phrases of a visit."""
    return stop_grammar(english()).automaton


@cache
def places() -> dict[str, Place]:
    """Return the questions at which calls are played."""
    wanted = {
        ("ambient-entry", "values"): "co",
        ("found-maximum", "values"): "row",
        ("middle-rate", "values"): UNRATED,
        ("found-maximum", "read-back"): "read-back",
        ("site", "to-do"): "to-do",
        ("fan-number", "once-more"): "number",
    }
    found: dict[str, Place] = {}
    for at in hearing_of(load_procedure(PROCEDURE), english()).grammars:
        placed, question, grammar = at.placed, at.question, at.grammar
        name = wanted.get((placed.id, question.kind))
        if question.kind == "once-more" and getattr(question, "quantity", "") == "fan_speed":
            name = "number"
        if question.kind in {"to-do", "put-back", "turn"}:
            name = question.kind
        if name is not None:
            found.setdefault(name, Place(name, placed.id, question, grammar))
    for at in hearing_of(new_words.procedure(), english()).grammars:
        if at.question.kind == "choice":
            found[f"new words {at.placed.id}"] = Place(
                f"new words {at.placed.id}", at.placed.id, at.question, at.grammar
            )
    return found


def digits(speech: Path, part: Part) -> Iterator[Call]:
    """One digit at the question for carbon monoxide: many people's microphones, one telephone speaker."""
    seen: dict[tuple[str, str], int] = {}
    for one in recordings.commands(speech, part):
        key = (one.speaker, one.words[0])
        seen[key] = seen.get(key, 0) + 1
        if one.words[0] in {"one", "five", "eight", "zero"} and seen[key] <= 2:
            name = f"{one.speaker} {one.words[0]} {seen[key]}"
            yield Call("digit", name, one.speaker, one.words, "co", lambda one=one: one.samples)
    for number, one in enumerate(recordings.digits(speech, part)):
        if number % 5 == 0:
            name = f"{one.speaker} {number}"
            yield Call("telephone digit", name, one.speaker, one.words, "co", lambda one=one: one.samples)


def numbers(speech: Path, part: Part) -> Iterator[Call]:
    """Whole numbers to four digits at the question for one such value: read, dictated, counted."""
    place = places()["number"]

    def fits(words: tuple[str, ...]) -> bool:
        return any(isinstance(meaning, Values) for meaning in place.grammar.read(words))

    for number, one in enumerate(recordings.an4(speech, part)):
        if fits(one.words):
            yield Call(
                "number", f"{one.speaker} {number}", one.speaker, one.words, "number", lambda one=one: one.samples
            )
    for clip in people.clips(speech, "speechocean762", part):
        words = tuple(clip.words.split())
        if fits(words):
            yield Call("number", clip.name, f"speechocean {clip.speaker}", words, "number", clip.samples)
    for clip in people.clips(speech, "coswara-counting", part):
        for word, samples in people.counted(clip):
            who = f"coswara {clip.speaker}"
            yield Call("number", f"{clip.name} {word}", who, (word,), "number", lambda samples=samples: samples)


def _values(chance: random.Random) -> tuple[str, str, str]:
    """Return carbon dioxide, oxygen, carbon monoxide of a burner on natural gas; the trade ties the first two."""
    dioxide = chance.randint(80, 99) / 10
    oxygen = OXYGEN_OF_AIR * (1 - dioxide / MOST_DIOXIDE)
    return f"{dioxide:.1f}", f"{oxygen:.1f}", str(chance.randint(5, 99))


def people_rows(speech: Path, part: Part, each: int = 6) -> Iterator[Call]:
    """Rows of three values in figures ("nine three four four one eight"), the words of one person joined.

    Of people who counted with pauses, and of one telephone speaker; nobody was recorded saying a whole row, nor
    a rate, so they are played where a row needs none.
    """
    place = places()[UNRATED]
    said: dict[str, dict[str, list[np.ndarray]]] = defaultdict(lambda: defaultdict(list))
    for clip in people.clips(speech, "coswara-counting", part):
        for word, samples in people.counted(clip):
            said[f"coswara {clip.speaker}"][word].append(samples)
    for one in recordings.digits(speech, part):
        said[f"{one.speaker}"][one.words[0]].append(np.asarray(one.samples))
    names = english().numbers.said.digits
    for who, known in said.items():
        chance, count = random.Random(zlib.crc32(who.encode())), 0
        for _ in range(200):
            figures = [figure for value in _values(chance) for figure in value.replace(".", "")]
            words = tuple(names[int(figure)] for figure in figures)
            if count < each * (5 if who.startswith("digits") else 1) and all(known[word] for word in words):
                assert place.grammar.automaton.accepts(words), words
                count += 1
                picked = [chance.choice(known[word]) for word in words]
                gaps = [chance.uniform(0.04, 0.12) for _ in words]
                sound: Callable[[], np.ndarray] = lambda picked=picked, gaps=gaps: joined(picked, gaps)  # noqa: E731
                yield Call("row by people", f"{who} {count}", who, words, place.name, sound)


def joined(words: Sequence[np.ndarray], gaps: Sequence[float]) -> np.ndarray:
    """Join words at the loudness of the first."""
    closed = [close(np.asarray(word, np.float64)) for word in words]
    parts = []
    for word, gain, gap in zip(closed, gains(closed, [0.0] * len(closed)), gaps, strict=True):
        parts += [word * gain, np.zeros(round(gap * RATE))]
    return np.concatenate(parts)


def rows(_: Path, part: Part) -> Iterator[Call]:
    """Rows of three values by synthetic voices: carbon dioxide, oxygen, carbon monoxide, the rate."""
    chance = random.Random(8)
    place = places()["row"]
    for number in range(40):
        values = _values(chance)
        said = [english().numbers.digits(Decimal(value)) for value in values]
        if number % 2:
            said[2] = _named(int(values[2]))
        words = tuple(f"{' '.join(said)} {MAXIMUM}".split())
        assert place.grammar.automaton.accepts(words), words
        for voice in voices(part):
            text = f"{', '.join(said)}, {MAXIMUM}."
            yield Call(
                "row", f"{voice} {number}", voice, words, "row", lambda voice=voice, text=text: spoken(voice, text)
            )


def _named(value: int) -> str:
    tens = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
    units = (
        "", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
        "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
    )  # fmt: skip
    return units[value] if value < 20 else f"{tens[value // 10]} {units[value % 10]}".strip()


TALK_AT = ("co", "row", "read-back", "to-do")


def talk(speech: Path, part: Part, most: int = 60) -> Iterator[Call]:
    """Other people's talk and words that are not for us, at four questions."""
    for name, who, samples in _talk(speech, part, most):
        for at in TALK_AT:
            yield Call("other talk", f"{name} {at}", who, (), at, samples, ratios=(None,))


def talk_at_phrases(speech: Path, part: Part, most: int = 60) -> Iterator[Call]:
    """The same talk, each piece at one of the questions whose answers are phrases of several words."""
    for number, (name, who, samples) in enumerate(_talk(speech, part, most)):
        at = f"new words asked-{number % len(new_words.PHRASES)}"
        yield Call("other talk", f"{name} {at}", who, (), at, samples, ratios=(None,))


def _talk(speech: Path, part: Part, most: int) -> Iterator[tuple[str, str, Callable[[], np.ndarray]]]:
    for kind in ("wake-words", "speech-commands-bed-cat-happy", "british-words-confusion-corpus"):
        parts = (part,) if kind != "british-words-confusion-corpus" else (Part.TRAIN, Part.TUNE, Part.FINAL)
        listed = [clip for clip in people.clips(speech, kind, *parts) if clip.words not in _SAID_ALIKE]
        random.Random(3).shuffle(listed)
        if kind.startswith("british"):  # of four people: by word, since each says all
            listed = [c for c in listed if (zlib.crc32(c.words.encode()) % 2 == 0) is (part is Part.TUNE)]
        for clip in listed[:most]:
            yield clip.name, f"{kind} {clip.speaker}", clip.samples
    for kind in ("librispeech-test-clean", "speechocean762"):
        listed = [
            clip
            for clip in people.clips(speech, kind, part)
            if clip.seconds < 5 and not set(clip.words.split()) & set(_NUMBER_WORDS) and "stop" not in clip.words
        ]
        random.Random(3).shuffle(listed)
        for clip in listed[:most]:
            yield clip.name, f"{kind} {clip.speaker}", clip.samples
    other = [one for one in recordings.other_talk(speech, part) if len(one.samples) < 6 * RATE]
    random.Random(3).shuffle(other)
    for number, one in enumerate(other[:most]):
        yield f"{one.speaker} {number}", one.speaker, lambda one=one: one.samples


_SAID_ALIKE = {"stop", "to", "too", "two", "for", "fore", "four", "won", "ate", "oh", "owe", "nun"}
"""Said alone these are answers, or cannot be told from them."""
_NUMBER_WORDS = (
    "zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve", "hundred", "thousand",
)  # fmt: skip


def stops(speech: Path, part: Part) -> Iterator[Call]:
    """A bare "stop" of people at four questions; of those whom our networks were taught by, a task of its own."""
    for name, who, taught, samples in bare_stops(speech):
        if (of_speaker("an4", who.split()[-1]) if who.startswith("an4") else Part.FINAL) is Part.TUNE:
            here = Part.TUNE
        else:
            here = Part.FINAL
        if here is part:
            for at in TALK_AT:
                task = "stop, by those taught by" if taught else "stop"
                yield Call(task, f"{name} {at}", who, ("stop",), at, samples, ratios=STOP_RATIOS)


def bare_stops(speech: Path) -> Iterator[tuple[str, str, bool, Callable[[], np.ndarray]]]:
    """Yield each "stop" said alone by a person: name, speaker, whether our networks were taught by them, sound."""
    for listing in ("train", "test"):
        for row in recordings.rows(speech / "an4" / f"{listing}.tsv"):
            file = speech / "an4" / listing / f"{row['file']}.flac"
            if row["words"] == "stop" and file.is_file():
                who = f"an4 {row['speaker']}"
                taught = listing == "train" and of_speaker("an4", row["speaker"]) is Part.TRAIN
                yield row["file"], who, taught, lambda file=file: recordings.read(file)
    for clip in people.clips(speech, "british-words-confusion-corpus"):
        if clip.words == "stop":
            yield clip.name, f"british {clip.speaker}", False, clip.samples


def long_stops(speech: Path, part: Part) -> Iterator[Call]:
    """Each long stop phrase by synthetic voices, and "stop" of people said twice; only where the noise is low."""
    found = load_procedure(PROCEDURE)
    texts = [text for hazard in found.catalogue.hazards.values() for text in hazard.heard]
    for number, (text, voice) in enumerate((text, voice) for text in texts for voice in voices(part)):
        at = TALK_AT[number % len(TALK_AT)]
        sound: Callable[[], np.ndarray] = lambda voice=voice, text=text: spoken(voice, text)  # noqa: E731
        yield Call("long stop", f"{voice} {text} {at}", voice, tuple(text.split()), at, sound, ratios=(25.0,))
    for number, (name, who, taught, samples) in enumerate(bare_stops(speech)):
        if taught is (part is Part.TUNE):  # who taught the networks is unseen by the margins, and they are few
            at = TALK_AT[number % len(TALK_AT)]
            twice: Callable[[], np.ndarray] = lambda samples=samples: joined([samples()] * 2, [0.1] * 2)  # noqa: E731
            yield Call("long stop", f"{name} twice {at}", who, ("stop", "stop"), at, twice, ratios=(25.0,))


def phrases(_: Path, part: Part) -> Iterator[Call]:
    """Own phrases by synthetic voices at a confirmation, a restore, a turn, a read-back."""
    before: set[str] = set()
    for at in ("to-do", "put-back", "turn", "read-back"):
        texts = {text for rule in places()[at].grammar.rules for text in getattr(rule, "meanings", {})}
        for text in sorted(texts - before):
            for voice in voices(part):
                sound: Callable[[], np.ndarray] = lambda voice=voice, text=text: spoken(voice, text)  # noqa: E731
                yield Call("phrase", f"{voice} {text}", voice, tuple(text.split()), at, sound, ratios=(15.0, 5.0))
        before |= texts


def phrases_of_new_words(_: Path, part: Part) -> Iterator[Call]:
    """Phrases with words that nobody taught our networks, by synthetic voices, each at its question."""
    for number, texts in enumerate(new_words.PHRASES):
        for text in texts:
            for voice in voices(part):
                sound: Callable[[], np.ndarray] = lambda voice=voice, text=text: spoken(voice, text)  # noqa: E731
                at = f"new words asked-{number}"
                yield Call(
                    "new words", f"{voice} {text}", voice, tuple(text.split()), at, sound, ratios=(10.0, 0.0)
                )


def answers(speech: Path, part: Part) -> Iterator[Call]:
    """A "yes", "no" or "repeat" of people at a confirmation and a read-back, where it is an answer."""
    for number, one in enumerate(recordings.an4(speech, part)):
        if len(one.words) == 1 and one.words[0] in {"yes", "no", "repeat"}:
            for at in ("to-do", "read-back"):
                if places()[at].grammar.read(one.words):
                    name = f"{one.speaker} {number} {at}"
                    yield Call("answer", name, one.speaker, one.words, at, lambda one=one: one.samples)


def conditions(speech: Path, part: Part) -> Iterator[Call]:
    """The digits of `digits`, every third, through echo, band, codec, clipping and gain control, at 20 dB."""
    for call in list(digits(speech, part))[::3]:
        for name, change in CONDITIONS.items():
            sound: Callable[[], np.ndarray] = lambda call=call, change=change: change(call.sound())  # noqa: E731
            yield replace(call, task=f"{call.task}, {name}", sound=sound, ratios=(20.0,))


TASKS: dict[str, Callable[[Path, Part], Iterable[Call]]] = {
    "digits": digits, "numbers": numbers, "rows": rows, "people-rows": people_rows, "answers": answers,
    "conditions": conditions, "talk": talk, "stops": stops, "phrases": phrases,
    "long-stops": long_stops, "new-words": phrases_of_new_words, "talk-at-phrases": talk_at_phrases,
}  # fmt: skip


def voices(part: Part) -> list[str]:
    """Return the voices of a part whose program is installed."""
    return [voice for voice in VOICES[part] if not voice.startswith("flite ") or shutil.which("flite")]


def spoken(voice: str, text: str, words_a_minute: int = 150) -> np.ndarray:
    """Render a text by a synthetic voice; flite has its own speed."""
    if voice.startswith("flite "):
        return flite(voice.removeprefix("flite "), text)
    command = ["espeak-ng", "-v", voice, "-s", str(words_a_minute), "--stdout", text]
    samples, rate = soundfile.read(io.BytesIO(subprocess.run(command, capture_output=True, check=True).stdout))
    common = int(np.gcd(rate, RATE))
    return resample_poly(samples, RATE // common, rate // common)


def listed(speech: Path, part: Part, tasks: Iterable[str]) -> list[Call]:
    """Return the calls of tasks, always in the same order."""
    return [call for task in tasks for call in TASKS[task](speech, part)]
