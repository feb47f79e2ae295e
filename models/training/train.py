"""Train the network: `python -m models.training.train DATA... --to NET.pt --minutes 20`.

DATA are folders of blocks (see `sound_store`): people, spoken. A GPU takes minutes; on a CPU give it an hour
or two and a smaller `--batch`. With `--go-on NET` training starts from a network, that of
an earlier training (.pt) or of a written model (.mdl).
"""

from __future__ import annotations

import argparse
import math
import random
import sys
import time
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from pathlib import Path

import numpy as np
import torch
from torch import nn
from torch.utils.data import DataLoader, IterableDataset, get_worker_info

from handsfree.hearing.margins import MARGIN_MS
from handsfree.lexicon.pronunciation import PHONES, Pronunciations
from models.training.acoustic_model import layers_of
from models.training.competing import PhoneSequences, competing_loss
from models.training.features import RATE, Filterbank, frame_counts
from models.training.loss import RunningPrior, full_sum_loss
from models.training.mixing import Mixer, Sound
from models.training.network import SUBSAMPLING, Network, Shape
from models.training.sound_store import Utterance, read_block
from models.training.surroundings import Surroundings

STRETCHES = tuple(np.round(np.linspace(0.84, 1.19, 15), 3))
_SPEED_RANGE = (0.86, 1.16)
_QUARTERS = (*range(4, 13), 14, 16, 18, 20, 24, 28, 33, 36)
_LENGTHS = tuple(RATE * quarters // 4 for quarters in _QUARTERS)
"""All lengths of batches in samples: every new shape makes a GPU plan its transforms and products anew.

None is shorter than a second: batches of fewer, rarer utterances would come late and all at once.
"""

_NUMBER = {phone: place for place, phone in enumerate(PHONES, 1)}
_SEQUENCES = 30_000
"""Utterances that the model of phone sequences is counted from."""
_COMPETING_SHARE = 0.8

Batch = tuple[torch.Tensor, torch.Tensor, torch.Tensor, torch.Tensor]


def load(folders: Sequence[Path], part: str) -> list[Utterance]:
    """Read the blocks of a part ("train", "tune"); what voices spoke is all for training."""
    blocks = [
        block
        for folder in folders
        for kind in ("*.flac", "*.opus")
        for block in sorted(folder.glob(kind))
        if block.name.startswith(f"{part}-") or (part == "train" and not block.name.startswith("tune-"))
    ]
    if not blocks:
        sys.exit(f"no {part} blocks in {', '.join(map(str, folders))}: run recordings and speak first")
    with ThreadPoolExecutor() as pool:
        return [one for found in pool.map(lambda block: list(read_block(block)), blocks) for one in found]


def batches(mixer: Mixer, seconds: float, seed: int) -> Iterator[Batch]:
    """Yield batches of about so many seconds of sound, of utterances of like length; numbers are 16-bit."""
    chance = random.Random(seed)
    waiting: dict[int, list[tuple[Sound, list[str]]]] = {length: [] for length in _LENGTHS}
    while True:
        one = mixer.draw(chance)
        length = _rounded_up(len(one[0]))
        group = waiting[length]
        group.append(one)
        if (len(group) + 1) * length <= seconds * RATE:
            continue
        waiting[length] = []
        sound = np.zeros((len(group), length), dtype=np.int16)
        phones = np.zeros((len(group), max(1, *(len(said) for _, said in group))), dtype=np.int64)
        for row, (samples, said) in enumerate(group):
            sound[row, : len(samples)] = samples
            phones[row, : len(said)] = [_NUMBER[phone] for phone in said]
        lengths = np.array([len(samples) for samples, _ in group])
        counts = np.array([len(said) for _, said in group])
        yield tuple(map(torch.from_numpy, (sound, lengths, phones, counts)))  # type: ignore[misc]


class Drawn(IterableDataset[Batch]):
    """Batches without end; each process that draws has a random source of its own."""

    def __init__(self, mixer: Mixer, seconds: float, seed: int) -> None:
        self._mixer, self._seconds, self._seed = mixer, seconds, seed

    def __iter__(self) -> Iterator[Batch]:
        """Yield batches, other ones in every process."""
        worker = get_worker_info()
        torch.set_num_threads(1)
        return batches(self._mixer, self._seconds, self._seed * 1000 + (worker.id if worker else 0))


def in_background(drawn: Drawn, processes: int) -> Iterator[Batch]:
    """Draw batches in processes of their own, or in this one when none are wanted."""
    return iter(DataLoader(drawn, batch_size=None, num_workers=processes, pin_memory=torch.cuda.is_available()))


def _rounded_up(samples: int) -> int:
    """Round up to one of the lengths."""
    return _LENGTHS[bisect_left(_LENGTHS, samples)]


def sped(sound: torch.Tensor, lengths: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """Play each row faster or slower, pitch and all.

    `lengths` lie in main memory, and so do those returned: asking a GPU for a number would make it wait.
    """
    speed = torch.empty(len(sound)).uniform_(*_SPEED_RANGE)
    new_lengths = (lengths / speed).long()
    size = _rounded_up(int(new_lengths.max()))
    place = torch.arange(size, device=sound.device)[None] * speed.to(sound.device, non_blocking=True)[:, None]
    left = place.long().clamp(max=sound.shape[1] - 2)
    share = (place - left).clamp(0, 1)
    out = sound.gather(1, left) * (1 - share) + sound.gather(1, left + 1) * share
    return out * (place < sound.shape[1] - 1), new_lengths


def with_margins(heard: torch.Tensor, lengths: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """Add what the recogniser adds (`handsfree/hearing/recogniser.py`): faint noise before and after."""
    margin = RATE * MARGIN_MS // 1000
    out = torch.randint(-1, 2, (len(heard), heard.shape[1] + 2 * margin), device=heard.device).float()
    inside = torch.arange(heard.shape[1], device=heard.device)[None] < lengths[:, None]
    middle = out[:, margin:-margin]
    out[:, margin:-margin] = torch.where(inside, heard, middle)
    return out, lengths + 2 * margin


def masked(features: torch.Tensor) -> torch.Tensor:
    """Blank out a few bands and moments, so that no single cue is leaned on."""
    batch, frames, bins = features.shape
    for length, widest, dimension in ((bins, 8, 2), (frames, 12, 1)):
        place = torch.arange(length, device=features.device)[None]
        begin = torch.rand(batch, 1, device=features.device) * length
        width = (
            torch.rand(batch, 1, device=features.device)
            * widest
            * (torch.rand(batch, 1, device=features.device) < 0.4)
        )
        hidden = (place >= begin) & (place < begin + width)
        hidden = hidden[:, None, :] if dimension == 2 else hidden[:, :, None]
        features = torch.where(hidden, features.mean((1, 2), keepdim=True), features)
    return features


def _network(go_on: Path | None, shape: Shape, dropout: float) -> Network:
    """Return a new network, or the one of a training file (.pt) or a written model (.mdl)."""
    if go_on is None:
        return Network(shape, dropout)
    if go_on.suffix == ".mdl":
        return Network.from_layers(layers_of(go_on.read_bytes()), dropout)
    return Network.from_checkpoint(torch.load(go_on, map_location="cpu", weights_only=True))


class Training:
    """One network in training: batches in, a checkpoint out."""

    def __init__(self, folders: Sequence[Path], device: str, go_on: Path | None, dropout: float) -> None:
        everything = load(folders, "train")
        noises = [one.samples for one in everything if one.speaker.startswith("noise")]
        talk = [one.samples for one in everything if one.speaker.startswith("other-talk")]
        speech = [one for one in everything if not one.speaker.startswith(("noise", "other-talk"))]
        self.device = device
        self.mixer = Mixer(speech, Pronunciations())
        self.surroundings = Surroundings(
            torch.from_numpy(np.concatenate(noises)).to(device), torch.from_numpy(np.concatenate(talk)).to(device)
        )
        print(f"{len(speech)} utterances of {len({one.speaker for one in speech})} speakers", flush=True)
        shape = Shape(outputs=len(PHONES) + 1)
        self.network = _network(go_on, shape, dropout).to(device)
        self.prior = RunningPrior(shape.outputs).to(device)
        self.bank = Filterbank(STRETCHES).to(device)
        self.sequences = self._phone_sequences().to(device)
        if go_on is None:
            features = self._some_features()
            self.network.mean.copy_(features.mean((0, 1)))
            self.network.deviation.copy_(features.std((0, 1)))
        elif go_on.suffix == ".mdl":
            self.network.unfold(self._some_features())
        self.average = deepcopy(self.network)

    def _phone_sequences(self) -> PhoneSequences:
        chance = random.Random(2)
        drawn = (self.mixer.draw(chance)[1] for _ in range(_SEQUENCES))
        return PhoneSequences(([_NUMBER[phone] for phone in said] for said in drawn), len(PHONES) + 1)

    def _some_features(self) -> torch.Tensor:
        source = batches(self.mixer, 200, seed=1)
        found = [self.features(next(source))[0] for _ in range(8)]
        shortest = min(features.shape[1] for features in found)
        return torch.cat([features[:, :shortest] for features in found])

    def features(self, batch: Batch) -> tuple[torch.Tensor, torch.Tensor]:
        """Return features (batch, frames, 40) of a batch in random surroundings, and their frame counts."""
        with torch.no_grad():
            speech, lengths = sped(batch[0].to(self.device, non_blocking=True).float() / 32768, batch[1])
            lengths = lengths.to(self.device, non_blocking=True)
            heard, lengths = with_margins(self.surroundings(speech, lengths), lengths)
            stretch = torch.randint(len(STRETCHES), (len(heard),), device=self.device)
            return self.bank(heard, stretch), frame_counts(lengths)

    def loss(self, batch: Batch, against_competing: bool) -> torch.Tensor:
        """Return the loss of a batch in training: of what was said alone, or mostly against what competes."""
        features, frames = self.features(batch)
        with torch.autocast(self.device, dtype=torch.bfloat16, enabled=self.device == "cuda"):
            log_probabilities = self.network(masked(features))
        frames = (frames + SUBSAMPLING - 1) // SUBSAMPLING
        phones, counts = (one.to(self.device, non_blocking=True) for one in batch[2:])
        alone = full_sum_loss(self.prior(log_probabilities, frames), frames, phones, counts)
        if not against_competing:
            return alone
        competing = competing_loss(log_probabilities, frames, phones, counts, self.sequences)
        return (1 - _COMPETING_SHARE) * alone + _COMPETING_SHARE * competing

    def run(
        self, minutes: float, drawn: Drawn, processes: int, rate: float, competing_from: float, to: Path
    ) -> None:
        """Train for so many minutes, with a learning rate that rises shortly and falls as a cosine.

        `competing_from` (0 to 1) is the share of the time after which competing sequences count.
        """
        fused = self.device == "cuda"
        optimiser = torch.optim.AdamW(self.network.parameters(), rate, weight_decay=1e-2, fused=fused)
        total = torch.zeros((), device=self.device)
        begun, step = time.monotonic(), 0
        for batch in in_background(drawn, processes):
            passed = (time.monotonic() - begun) / (60 * minutes)
            if passed >= 1:
                break
            now = rate * min(1.0, (step + 1) / 400) * max(0.005, 0.5 * (1 + math.cos(math.pi * passed)))
            for group in optimiser.param_groups:
                group["lr"] = now
            loss = self.loss(batch, passed >= competing_from)
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(self.network.parameters(), 2.0)
            optimiser.step()
            self._follow(step)
            step += 1
            total += loss.detach()
            if step % 200 == 0:
                print(f"{step} steps, {60 * minutes * passed:.0f} s, loss {total.item() / 200:.4f}", flush=True)
                total.zero_()
            if step % 1000 == 0:
                self.save(to)
        self.save(to)
        print(f"done after {step} steps", flush=True)

    def _follow(self, step: int) -> None:
        """Keep a running average of the weights: it hears better than the last step."""
        keep = min(0.999, 1 - 1 / (step + 1))
        with torch.no_grad():
            means, values = (
                [value for value in network.state_dict().values() if value.dtype.is_floating_point]
                for network in (self.average, self.network)
            )
            torch._foreach_lerp_(means, values, 1 - keep)

    def save(self, to: Path) -> None:
        """Write the averaged network."""
        checkpoint = self.average.checkpoint(PHONES)
        checkpoint["state"] = {name: value.cpu() for name, value in checkpoint["state"].items()}
        checkpoint["prior"] = self.prior.share.cpu()
        torch.save(checkpoint, to)


def main() -> None:
    """Read the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path, nargs="+")
    parser.add_argument("--to", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=90)
    parser.add_argument("--batch", type=float, default=1500, help="seconds of sound a batch")
    parser.add_argument("--processes", type=int, default=12, help="that draw batches beside the training")
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--go-on", type=Path)
    parser.add_argument(
        "--competing-from", type=float, default=0.4, help="share of the time before competing sequences count"
    )
    parser.add_argument("--dropout", type=float, default=0.1)
    given = parser.parse_args()
    random.seed(given.seed)
    torch.manual_seed(given.seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    training = Training(given.data, device, given.go_on, given.dropout)
    drawn = Drawn(training.mixer, given.batch, given.seed)
    training.run(given.minutes, drawn, given.processes, given.rate, given.competing_from, given.to)


if __name__ == "__main__":
    main()
