"""What the third opinion's network makes of speech: `python -m models.training.phones_heard DATA...`.

DATA are folders of blocks: what `phones_said` wrote, and what voices said (`speak`). Each process draws one
utterance after the other, puts it into surroundings, lets the network listen, and writes a block `PART-NN.npy` of
states (frames, 416) in half precision. `PART-NN.jsonl` beside it holds an utterance a line: its frames, its
speaker, and of each word every way to say it, in numbers of phones. The tuning part is gone through once; the
training part until the time is over, with rows of digits joined anew.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import random
import sys
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import onnxruntime
import torch
from onnx.utils import Extractor

from handsfree.hearing.general.network import prepared
from handsfree.hearing.general.packing import packed
from handsfree.hearing.general.phones import numbers
from handsfree.hearing.general.weights import HOW, GeneralFolder
from handsfree.lexicon.pronunciation import Pronunciations
from models.training.loudness import gains
from models.training.phones_said import COUNTING
from models.training.sound_store import RATE, Samples, Utterance, trimmed
from models.training.split import Part
from models.training.surroundings import Surroundings
from models.training.train import load

DATA = Path(__file__).with_name("data") / "states"
NOBODY = "none"
_BACKGROUND = ("noise", "other-talk")
_SAID_ALONE = ("digits", COUNTING)
"""Collections with single numbers, to join rows of one speaker from."""
_JOINED, _SILENT = 0.16, 0.02
"""So often such a row, or nothing at all, follows an utterance of training."""
_APART_DB = 3.0
_POOL, _BATCH = 192, 16

States = npt.NDArray[np.float16]
Ways = list[list[list[int]]]
"""Of each word every way to say it, as numbers of phones."""


@dataclass(frozen=True)
class HeardLine:
    """One utterance of a block of states."""

    frames: int
    speaker: str
    ways: Ways


class Drawing:
    """Draws what is said, in a random order: a share of all, and rows joined from any of it."""

    def __init__(self, share: Sequence[Utterance], everything: Iterable[Utterance], chance: random.Random) -> None:
        self._share, self._chance = share, chance
        alone = defaultdict(list)
        for one in everything:
            if len(one.words) == 1 and one.speaker.startswith(_SAID_ALONE):
                alone[one.speaker].append(one)
        self._alone = [alone[speaker] for speaker in sorted(alone)]

    def once(self) -> Iterator[Utterance]:
        """Yield each utterance of the share once, and silence now and then."""
        for one in self._chance.sample(self._share, len(self._share)):
            yield one
            if self._chance.random() < _SILENT:
                nothing = np.zeros(self._chance.randint(RATE // 2, 3 * RATE), np.float32)
                yield Utterance(nothing, (), NOBODY)

    def endless(self) -> Iterator[Utterance]:
        """Yield the share again and again, with rows joined anew."""
        while True:
            for one in self.once():
                yield one
                if self._alone and self._chance.random() < _JOINED:
                    yield joined(self._chance.choice(self._alone), self._chance)


def joined(alone: Sequence[Utterance], chance: random.Random) -> Utterance:
    """Join two to eight words that one speaker said alone, as a row of digits is called out."""
    chosen = chance.choices(alone, k=chance.choice([2, 3, 4, 5, 6, 7, 7, 8]))
    sounds = [trimmed(one.samples, RATE // 12, above=0.04) for one in chosen]
    louder = [chance.uniform(-_APART_DB, _APART_DB) if number else 0.0 for number in range(len(sounds))]
    pieces: list[Samples] = []
    for sound, gain in zip(sounds, gains(sounds, louder), strict=True):
        pause = np.zeros(round(chance.uniform(0.0, 0.14) * RATE), np.float32)
        pieces += [sound * np.float32(gain), pause]
    words = tuple(word for one in chosen for word in one.words)
    return Utterance(np.concatenate(pieces), words, chosen[0].speaker)


def ways_of(one: Utterance, pronunciations: Pronunciations) -> Ways:
    """Return how each word may have been said; all of it at once where the voice was told its phones."""
    if one.phones is not None:
        return [[list(numbers(one.phones))]]
    return [[list(numbers(way)) for way in pronunciations.of(word)] for word in one.words]


def listening_network() -> bytes:
    """Return the general recogniser's network from sound to states; exits where no weights are installed."""
    folder = GeneralFolder.installed()
    if folder is None:
        sys.exit(f"the weights of the general recogniser are not installed: {HOW}")
    model = packed(folder.path / "encoder_model.ort", whole_sums=True)
    names = ([one.name for one in found] for found in (model.graph.input, model.graph.output))
    drawn: bytes = Extractor(model).extract_model(*names).SerializeToString()
    return drawn


class Listener:
    """Hears utterances in surroundings, on one core."""

    def __init__(self, network: bytes, around: Surroundings, chance: random.Random) -> None:
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        options.log_severity_level = 3
        self._network: Any = onnxruntime.InferenceSession(network, options, providers=["CPUExecutionProvider"])
        self._around, self._chance = around, chance

    def heard(self, batch: Sequence[Utterance]) -> Iterator[tuple[Utterance, States]]:
        """Yield each with its states (frames, 416); utterances of like length cost least."""
        edges = [[round(self._chance.uniform(*each) * RATE) for each in ((0.05, 0.8), (0.1, 0.7))] for _ in batch]
        lengths = [len(one.samples) + sum(edge) for one, edge in zip(batch, edges, strict=True)]
        sound = np.zeros((len(batch), max(lengths)), np.float32)
        for row, one, (before, _) in zip(sound, batch, edges, strict=True):
            row[before : before + len(one.samples)] = one.samples
        heard = self._around(torch.from_numpy(sound), torch.tensor(lengths)).numpy()
        for row, one, length in zip(heard, batch, lengths, strict=True):
            (states,) = self._network.run(None, {"input_values": prepared(row[:length])})
            yield one, states[0].astype(np.float16)


def write_states(
    to: Path, said: Iterator[Utterance], listener: Listener, pronunciations: Pronunciations, until: float
) -> None:
    """Write the block `to` (.npy) of all that is said, or of what there is time for by the monotonic clock."""
    blocks: list[States] = []
    lines: list[HeardLine] = []
    while time.monotonic() < until and (pool := list(islice(said, _POOL))):
        pool.sort(key=lambda one: len(one.samples))
        for begin in range(0, len(pool), _BATCH):
            if time.monotonic() >= until:
                break
            for one, states in listener.heard(pool[begin : begin + _BATCH]):
                blocks.append(states)
                lines.append(HeardLine(len(states), one.speaker, ways_of(one, pronunciations)))
    np.save(to, np.concatenate(blocks))
    to.with_suffix(".jsonl").write_text("".join(json.dumps(asdict(line)) + "\n" for line in lines), "utf-8")


def read_states(block: Path) -> tuple[States, list[HeardLine]]:
    """Return the states of a block, as they lie on disk, and what they are of."""
    lines = block.with_suffix(".jsonl").read_text("utf-8").splitlines()
    return np.load(block, mmap_mode="r"), [HeardLine(**json.loads(line)) for line in lines]


def _stretch(everything: Iterable[Utterance], kind: str) -> torch.Tensor:
    found = [one.samples for one in everything if one.speaker.startswith(kind)]
    if not found:
        sys.exit(f"the data hold no {kind}: give the folder that models.training.phones_said wrote")
    return torch.from_numpy(np.concatenate(found))


def main() -> None:
    """Read the command line, load once, and let every process listen to its share."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("data", type=Path, nargs="+")
    parser.add_argument("--part", choices=["train", "tune"], default="train")
    parser.add_argument("--every", type=int, default=1, help="take only every so manieth utterance")
    parser.add_argument("--minutes", type=float, default=6.0, help="at most, by the clock")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--to", type=Path, default=DATA)
    given = parser.parse_args()
    everything = load(given.data, given.part)
    around = Surroundings(*(_stretch(everything, kind) for kind in _BACKGROUND))
    speech = [one for one in everything if not one.speaker.startswith(_BACKGROUND)][:: given.every]
    network, pronunciations = listening_network(), Pronunciations()
    given.to.mkdir(parents=True, exist_ok=True)
    until = time.monotonic() + 60 * given.minutes

    def share(turn: int) -> None:
        torch.set_num_threads(1)
        torch.manual_seed(1000 + turn)
        chance = random.Random(1000 + turn)
        drawing = Drawing(speech[turn :: given.processes], speech, chance)
        said = drawing.endless() if given.part == Part.TRAIN.value else drawing.once()
        listener = Listener(network, around, chance)
        write_states(given.to / f"{given.part}-{turn:02d}.npy", said, listener, pronunciations, until)

    forking = multiprocessing.get_context("fork")  # what is loaded lies in memory once
    processes = [forking.Process(target=share, args=(turn,)) for turn in range(given.processes)]
    for one in processes:
        one.start()
    for one in processes:
        one.join()
    if any(one.exitcode for one in processes):
        sys.exit("a process failed: its message stands above")


if __name__ == "__main__":
    main()
