"""The network for phones, trained: `python -m models.training.phones_network STATES --to phones.npz`.

STATES is the folder that `phones_heard` wrote. The network says how likely each phone is in each frame of what the
third opinion's network makes of sound. It learns by connectionist temporal classification: output 0 is
blank, then come the phones as `handsfree.lexicon.pronunciation` lists them. `--share` trains with a part of the
people only: those of a smaller share are among those of a larger, for a curve over people.
"""

from __future__ import annotations

import argparse
import hashlib
import math
import random
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from torch import nn

from handsfree.lexicon.pronunciation import PHONES
from models.training.phones_heard import DATA, NOBODY, Ways, read_states
from models.training.phones_said import COLLECTIONS

STATES = 416
"""Numbers of a state."""
FRAMES_A_SECOND = 41.67
_RATE, _DECAY, _WARM_STEPS = 2e-3, 0.02, 300
_NOISE = 0.05
_MEAN_SHARE, _EARLY_SHARE, _EARLY_STEPS = 0.005, 0.05, 600
"""How much of each step goes into the mean of the weights that is kept; more at the beginning."""
_STEEPEST = 1.0
_EPOCHS = 4
"""After so many the tuning part is looked at."""
_UNTOLD = "untold"


class PhoneLayers(nn.Module):
    """States (batch, frames, 416) to log probabilities (batch, frames, 40); its names are those of the file."""

    def __init__(self, width: int = 192, layers: int = 3, dropout: float = 0.15) -> None:
        super().__init__()
        self.inn = nn.LayerNorm(STATES)
        self.first = nn.Linear(STATES, width)
        self.norms = nn.ModuleList(nn.LayerNorm(width) for _ in range(layers))
        self.convs = nn.ModuleList(nn.Conv1d(width, width, 5, padding="same") for _ in range(layers))
        self.last = nn.LayerNorm(width)
        self.out = nn.Linear(width, len(PHONES) + 1)
        self.drop = nn.Dropout(dropout)

    def forward(self, states: torch.Tensor) -> torch.Tensor:
        """Return the log probabilities of blank and the phones in each frame."""
        flow = self.first(self.drop(self.inn(states)))
        for norm, convolution in zip(self.norms, self.convs, strict=True):
            told = convolution(norm(flow).transpose(1, 2)).transpose(1, 2)
            flow = flow + self.drop(nn.functional.gelu(told))
        likely: torch.Tensor = self.out(self.last(flow)).log_softmax(-1)
        return likely

    def write(self, file: Path) -> None:
        """Write the weights in half precision, by their names."""
        np.savez_compressed(
            file, **{name: value.half().cpu().numpy() for name, value in self.state_dict().items()}
        )


@dataclass(frozen=True)
class Batch:
    """Utterances side by side: states (batch, frames, 416), how many frames each has, and its phones."""

    states: torch.Tensor
    frames: torch.Tensor
    phones: list[list[int]]
    speakers: list[str]


class Heard:
    """The states of a part, on the device, to take batches from."""

    def __init__(self, folder: Path, part: str, device: str, wanted: Callable[[str], bool]) -> None:
        states: list[torch.Tensor] = []
        lengths: list[int] = []
        self._device, self._ways, self._speakers = device, list[Ways](), list[str]()
        for block in sorted(folder.glob(f"{part}-*.npy")):  # each moved on at once: all together fill a memory
            found, lines = read_states(block)
            taken = [wanted(line.speaker) for line in lines]
            inside = np.repeat(taken, [line.frames for line in lines])
            states.append(torch.from_numpy(found[inside]).to(device))
            for line in (line for line, one in zip(lines, taken, strict=True) if one):
                lengths.append(line.frames)
                self._ways.append(line.ways)
                self._speakers.append(line.speaker)
        if not lengths:
            sys.exit(f"{folder}: no states of the part {part}: run models.training.phones_heard first")
        self._states, self._lengths = torch.cat(states), np.array(lengths)
        self._begins = np.cumsum(self._lengths) - self._lengths

    def told(self) -> str:
        """Say how much it is, of how many people."""
        persons = len({one for one in self._speakers if is_person(one)})
        hours = len(self._states) / FRAMES_A_SECOND / 3600
        return f"{len(self._lengths)} utterances, {hours:.1f} h, {persons} people"

    def order(self, most: int, chance: random.Random) -> list[list[int]]:
        """Return the numbers of all utterances in batches of like length, of so many frames, in a random order."""
        ordered = sorted(range(len(self._lengths)), key=lambda each: self._lengths[each] + chance.random() * 8)
        batches: list[list[int]] = [[]]
        for each in ordered:
            if (len(batches[-1]) + 1) * self._lengths[each] > most and batches[-1]:
                batches.append([])
            batches[-1].append(each)
        chance.shuffle(batches)
        return batches

    def batch(self, chosen: Sequence[int], said: Callable[[Ways], list[int]]) -> Batch:
        """Return the batch of these utterances; `said` chooses the way in which the words were said."""
        begins, frames = (
            torch.from_numpy(each[chosen]).to(self._device) for each in (self._begins, self._lengths)
        )
        place = torch.arange(int(self._lengths[chosen].max()), device=self._device)[None]
        inside = place < frames[:, None]
        found = self._states[(begins[:, None] + place).clamp_max(len(self._states) - 1)].float()
        phones = [said(self._ways[each]) for each in chosen]
        return Batch(found * inside[..., None], frames, phones, [self._speakers[each] for each in chosen])


def is_person(speaker: str) -> bool:
    """Say whether this is the name of a person, not of a voice or of nobody."""
    return speaker.partition(" ")[0] in COLLECTIONS


def taught_by(speaker: str, share: float, voices: bool) -> bool:
    """Say whether one learns from this speaker: from such a share of the people, and from voices or not.

    A person is the same one in every collection; who is not told, and silence, always teach.
    """
    name = speaker.partition(" ")[2]
    if is_person(speaker) and name != _UNTOLD:
        place = int.from_bytes(hashlib.sha256(name.encode()).digest()[:4], "big")
        return place < share * 2**32
    return voices or is_person(speaker) or speaker == NOBODY


def phones_of(row: Sequence[int]) -> list[int]:
    """Return the phones of a row of likeliest outputs: each once for a stretch of it, without blanks."""
    return [now for before, now in zip([0, *row], row, strict=False) if now not in (0, before)]


def edits(found: Sequence[int], expected: Sequence[int]) -> int:
    """Return how many insertions, deletions and exchanges make one of the other."""
    row = list(range(len(expected) + 1))
    for count, each in enumerate(found, 1):
        corner, row[0] = row[0], count
        for place, other in enumerate(expected, 1):
            corner, row[place] = row[place], min(row[place] + 1, row[place - 1] + 1, corner + (each != other))
    return row[-1]


class Training:
    """One network in training, and the mean of its weights, which is what is kept."""

    def __init__(self, layers: PhoneLayers, device: str, frames: int, chance: random.Random) -> None:
        self.layers, self._frames, self._chance = layers.to(device), frames, chance
        self.mean = deepcopy(self.layers).eval()
        self._optimiser = torch.optim.AdamW(self.layers.parameters(), lr=_RATE, weight_decay=_DECAY)
        self._loss = nn.CTCLoss(zero_infinity=True, reduction="sum")
        self.steps = 0

    def epoch(self, heard: Heard, part_gone: Callable[[], float]) -> float | None:
        """Go through everything once; return the mean loss of a phone, or None when the time is over."""
        total, count = torch.zeros((), device=next(self.layers.parameters()).device), 0
        self.layers.train()
        for chosen in heard.order(self._frames, self._chance):
            gone = part_gone()
            if gone >= 1:
                return None
            rate = _RATE * min(1.0, self.steps / _WARM_STEPS) * max(0.01, 0.5 * (1 + math.cos(math.pi * gone)))
            for group in self._optimiser.param_groups:
                group["lr"] = rate
            total += self._step(heard.batch(chosen, self._any_way))
            count += 1
        return total.item() / count

    def _any_way(self, ways: Ways) -> list[int]:
        return [phone for word in ways for phone in self._chance.choice(word)]

    def _step(self, batch: Batch) -> torch.Tensor:
        likely = self.layers(batch.states + torch.randn_like(batch.states) * _NOISE)
        device = likely.device
        phones = torch.tensor([each for row in batch.phones for each in row], dtype=torch.long, device=device)
        counts = torch.tensor([len(row) for row in batch.phones], device=device)
        loss: torch.Tensor = self._loss(likely.transpose(0, 1), phones, batch.frames, counts)
        loss = loss / counts.sum().clamp_min(1)
        self._optimiser.zero_grad()
        torch.autograd.backward(loss)
        nn.utils.clip_grad_norm_(self.layers.parameters(), _STEEPEST)
        self._optimiser.step()
        self.steps += 1
        with torch.no_grad():
            share = _EARLY_SHARE if self.steps < _EARLY_STEPS else _MEAN_SHARE
            for kept, now in zip(self.mean.parameters(), self.layers.parameters(), strict=True):
                kept.lerp_(now, share)
        return loss.detach()

    def wrong(self, heard: Heard) -> dict[str, float]:
        """Return the share of wrong phones, of each collection and of "all", by the likeliest output alone."""
        counted: dict[str, list[int]] = defaultdict(lambda: [0, 0])
        for chosen in heard.order(self._frames, random.Random(0)):
            batch = heard.batch(chosen, lambda ways: [phone for word in ways for phone in word[0]])
            with torch.no_grad():
                likeliest = self.mean(batch.states).argmax(-1).tolist()
            frames = batch.frames.tolist()
            for row, length, expected, speaker in zip(
                likeliest, frames, batch.phones, batch.speakers, strict=True
            ):
                fault = edits(phones_of(row[:length]), expected)
                for name in (speaker.partition(" ")[0], "all"):
                    counted[name][0] += fault
                    counted[name][1] += len(expected)
        return {name: round(fault / max(1, phones), 4) for name, (fault, phones) in sorted(counted.items())}


def main() -> None:
    """Read the command line, train and write the weights."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("states", type=Path, nargs="?", default=DATA)
    parser.add_argument("--to", type=Path, required=True, help="the weights (.npz)")
    parser.add_argument("--seconds", type=float, default=420.0, help="by the clock")
    parser.add_argument("--share", type=float, default=1.0, help="of the people")
    parser.add_argument("--without-voices", action="store_true")
    parser.add_argument("--width", type=int, default=192)
    parser.add_argument("--layers", type=int, default=3)
    parser.add_argument("--dropout", type=float, default=0.15)
    parser.add_argument("--batch", type=int, default=30_000, help="frames; a CPU wants fewer")
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    torch.manual_seed(given.seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    learned = Heard(
        given.states, "train", device, lambda one: taught_by(one, given.share, not given.without_voices)
    )
    tuned = Heard(given.states, "tune", device, lambda _: True)
    layers = PhoneLayers(given.width, given.layers, given.dropout)
    weights = sum(one.numel() for one in layers.parameters())
    print(f"{weights} weights; learning from {learned.told()}; tuning on {tuned.told()}", flush=True)
    training = Training(layers, device, given.batch, random.Random(given.seed))
    begun, epochs = time.monotonic(), 0
    while (loss := training.epoch(learned, lambda: (time.monotonic() - begun) / given.seconds)) is not None:
        epochs += 1
        if epochs % _EPOCHS == 1:
            passed = time.monotonic() - begun
            wrong = training.wrong(tuned)
            print(f"{epochs} epochs, {training.steps} steps, {passed:.0f} s, loss {loss:.3f}, {wrong}", flush=True)
    training.mean.write(given.to)
    print(f"{training.steps} steps, wrong phones {training.wrong(tuned)}; {given.to} written")


if __name__ == "__main__":
    main()
