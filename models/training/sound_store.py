"""Labelled utterances on disk: sound in blocks, and one line of JSON an utterance.

A block `NAME.flac` (or `NAME.opus`, a tenth of the size, for taking along) has `NAME.jsonl` beside it. A line
holds where the utterance begins and how long it is (samples at 16 kHz), its words, its phones when the voice
was told them, the speaker, and for recordings of people the places where it may be cut between words.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

RATE = 16_000
_OPUS_LEVEL = 0.92
"""Of libsndfile's scale, 0 the most bits and 1 the fewest: about 26 kbit/s."""
_BLOCK = 400

Samples = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Utterance:
    """Words spoken by one speaker; `cuts` are the sample numbers of the borders of its words, ends included."""

    samples: Samples
    words: tuple[str, ...]
    speaker: str
    phones: tuple[str, ...] | None = None
    cuts: tuple[int, ...] | None = None


@dataclass(frozen=True)
class _Line:
    begin: int
    length: int
    words: str
    speaker: str
    phones: str | None
    cuts: tuple[int, ...] | None


def write_block(path: Path, utterances: Sequence[Utterance]) -> None:
    """Write a block; the ending of the path (.flac or .opus) says how the sound is kept."""
    lines, begin = [], 0
    for one in utterances:
        phones = None if one.phones is None else " ".join(one.phones)
        lines.append(_Line(begin, len(one.samples), " ".join(one.words), one.speaker, phones, one.cuts))
        begin += len(one.samples)
    path.parent.mkdir(parents=True, exist_ok=True)
    sound = np.clip(np.concatenate([one.samples for one in utterances]), -1, 1)
    if path.suffix == ".opus":
        soundfile.write(path, sound, RATE, format="OGG", subtype="OPUS", compression_level=_OPUS_LEVEL)
    else:
        soundfile.write(path, sound, RATE, subtype="PCM_16")
    text = "".join(json.dumps(asdict(line)) + "\n" for line in lines)
    path.with_suffix(".jsonl").write_text(text, encoding="utf-8")


def write_blocks(folder: Path, name: str, utterances: Sequence[Utterance]) -> None:
    """Write as many numbered blocks NAME-00.flac, NAME-01.flac ... as the utterances need."""
    for number, begin in enumerate(range(0, len(utterances), _BLOCK)):
        write_block(folder / f"{name}-{number:02d}.flac", utterances[begin : begin + _BLOCK])


def read_block(path: Path) -> Iterator[Utterance]:
    """Yield the utterances of a block; `ValueError` when its sound is not at 16 kHz."""
    sound, rate = soundfile.read(path, dtype="float32")
    if rate != RATE:
        raise ValueError(f"{path}: {rate} samples a second, expected {RATE}")
    for text in path.with_suffix(".jsonl").read_text(encoding="utf-8").splitlines():
        line = json.loads(text)
        yield Utterance(
            sound[line["begin"] : line["begin"] + line["length"]],
            tuple(line["words"].split()),
            line["speaker"],
            None if line["phones"] is None else tuple(line["phones"].split()),
            None if line["cuts"] is None else tuple(line["cuts"]),
        )


def trimmed(samples: Samples, margin: int = RATE // 10, above: float = 0.02) -> Samples:
    """Cut the silence at both ends, below a share of the peak, down to a margin; rooms need a larger share."""
    loud = np.flatnonzero(np.abs(samples) > above * max(1e-6, float(np.abs(samples).max())))
    return samples[max(0, loud[0] - margin) : loud[-1] + margin] if len(loud) else samples[:0]
