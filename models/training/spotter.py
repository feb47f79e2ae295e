"""A small network for "stop" said alone, and how it learns with more people: `python -m models.training.spotter`.

It reads what `python -m models.training.stops_said` cut out. It trains on as many people as `--people` says,
several draws of each, and prints what the network hears of people it was not given, at the threshold that lets so
many false stops an hour of the tuning people's talk pass. `--final` plays the part kept for the last test, once,
with all who may be learned from. The parts are those of `split.tsv`, drawn before the first training. Nothing here
is shipped: README.md says what it gave and what bounds it.
"""

from __future__ import annotations

import argparse
import json
import random
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import torch

from models.training import recordings
from models.training.features import RATE, Filterbank
from models.training.sound_store import Samples, Utterance, read_block
from models.training.split import Part
from models.training.stops_said import ALONE, CONNECTED, DATA, WORD, bare, over_noise, talk, threshold
from models.training.surroundings import Surroundings

_ROOT = Path(__file__).parents[2]
RATIOS = (None, 15.0, 10.0, 5.0, 0.0)
"""How many dB a "stop" stands over noise; None: in a silent room."""
WINDOW = 16 * RATE // 10
HOP_FRAMES = 10
A_SHARE = 0.25
"""Of a batch that is "stop"."""
BATCH = 256
STRETCHES = (0.86, 0.92, 1.0, 1.0, 1.08, 1.16)


class Spotter(torch.nn.Module):
    """Log mel energies (batch, frames, 40) of a window to the log odds that "stop" is in it."""

    def __init__(self, width: int = 128, blocks: int = 5) -> None:
        super().__init__()
        self.begin = torch.nn.Conv1d(40, width, 5)
        self.blocks = torch.nn.ModuleList(
            torch.nn.Sequential(
                torch.nn.Conv1d(width, width, 9, groups=width, padding="same"),
                torch.nn.BatchNorm1d(width),
                torch.nn.ReLU(),
                torch.nn.Conv1d(width, width, 1),
                torch.nn.BatchNorm1d(width),
                torch.nn.ReLU(),
            )
            for _ in range(blocks)
        )
        self.end = torch.nn.Linear(2 * width, 1)

    def forward(self, energies: torch.Tensor) -> torch.Tensor:
        """Return the log odds (batch,); the level of each band in the window is taken out first."""
        flow = self.begin(((energies - energies.mean(1, keepdim=True)) / 4).transpose(1, 2))
        for block in self.blocks:
            flow = flow + block(flow)
        odds: torch.Tensor = self.end(torch.cat([flow.amax(2), flow.mean(2)], 1))[:, 0]
        return odds


@dataclass(frozen=True)
class Sounds:
    """Many clips in one row of samples, to draw batches from."""

    row: torch.Tensor
    begins: torch.Tensor
    lengths: torch.Tensor

    @classmethod
    def of(cls, clips: Sequence[Samples], device: torch.device) -> Sounds:
        """Lay clips one after the other; `ValueError` when there is none."""
        if not clips:
            raise ValueError("no clip to learn from: run `models.training.stops_said`, or name the recordings")
        lengths = torch.tensor([len(one) for one in clips])
        row = torch.from_numpy(np.concatenate([np.asarray(one, np.float32) for one in clips]))
        return cls(row.to(device), (lengths.cumsum(0) - lengths).to(device), lengths.to(device))

    def draw(self, count: int) -> torch.Tensor:
        """Return clips (count, WINDOW) at random places, whole where they fit and a stretch of them where not."""
        which = torch.randint(len(self.lengths), (count,), device=self.row.device)
        length = self.lengths[which]
        spare = WINDOW - length
        shift = torch.rand(count, device=self.row.device) * spare.abs()
        shift = torch.where(spare >= 0, -shift, shift).long()[:, None]
        place = torch.arange(WINDOW, device=self.row.device)[None] + shift
        inside = (place >= 0) & (place < length[:, None])
        found = self.row[(self.begins[which][:, None] + place).clamp(0, len(self.row) - 1)]
        return torch.where(inside, found, 0.0)


def trained(
    said: Sounds, shares: Sequence[tuple[float, Sounds]], around: Surroundings, seconds: float, seed: int
) -> Spotter:
    """Train for so many seconds by the clock; `shares` says how much of what is no "stop" comes from where."""
    torch.manual_seed(seed)
    device = said.row.device
    spotter, bank = Spotter().to(device), Filterbank(STRETCHES).to(device)
    taught = torch.optim.AdamW(spotter.parameters(), lr=2e-3, weight_decay=0.01)
    stops = round(BATCH * A_SHARE)
    wanted = (torch.arange(BATCH, device=device) < stops).float()
    lengths = torch.full((BATCH,), float(WINDOW), device=device)
    begun, steps, loss = time.monotonic(), 0, torch.zeros(())
    while (gone := (time.monotonic() - begun) / seconds) < 1:
        for group in taught.param_groups:
            group["lr"] = 2e-3 * min(1.0, gone * 20) * (1 - gone)
        rest = BATCH - stops
        others = [each.draw(round(rest * share)) for share, each in shares]
        silent = torch.zeros(rest - sum(map(len, others)), WINDOW, device=device)
        heard = around(torch.cat([said.draw(stops), *others, silent]), lengths)
        odds = spotter(bank(heard, torch.randint(len(STRETCHES), (BATCH,), device=device)))
        loss = torch.nn.functional.binary_cross_entropy_with_logits(odds, wanted)
        taught.zero_grad()
        loss.backward()
        taught.step()
        steps += 1
    print(f"  {steps} steps, last loss {loss.item():.4f}", flush=True)
    return spotter.eval()


@torch.no_grad()
def energies_of(sound: Samples, bank: Filterbank) -> torch.Tensor:
    """Return the log mel energies (frames, 40) of a recording (1.0 at most) with silence around it."""
    padded = torch.from_numpy(np.pad(np.asarray(sound, np.float32), WINDOW // 2) * 32767)
    padded = padded + torch.randn(len(padded), generator=torch.Generator().manual_seed(0))  # no room is silent
    return bank(padded[None].to(bank.window.device))[0]


@torch.no_grad()
def highest(spotter: Spotter, recordings_heard: Sequence[torch.Tensor]) -> list[float]:
    """Return of each recording the highest log odds of any of its windows."""
    found: list[float] = []
    size = WINDOW // 160 - 2
    for begin in range(0, len(recordings_heard), 100):
        windows = [
            each.unfold(0, size, HOP_FRAMES).transpose(1, 2) for each in recordings_heard[begin : begin + 100]
        ]
        odds = spotter(torch.cat(windows))
        found += [float(each.max()) for each in odds.split([len(one) for one in windows])]
    return found


class Trials:
    """What is played to every network: the talk of a part, and people's "stop" over its noises."""

    def __init__(self, speech: Path, part: Part, device: torch.device) -> None:
        self._bank = Filterbank().to(device)
        self._noises = [one.samples for one in recordings.noises(speech, part)]
        self.talk: dict[str, list[torch.Tensor]] = {}
        self.hours: dict[str, float] = {}
        for name, collections in (("alone", ALONE), ("connected", CONNECTED)):
            clips = talk(speech, collections, part)
            self.hours[name] = sum(one.seconds for one in clips) / 3600
            sounds = [over_noise(one.samples(), np.zeros(1, np.float32), None) for one in clips]
            self.talk[name] = [energies_of(one, self._bank) for one in sounds]
        self.heard: Callable[[str, bytes], dict[str, list[torch.Tensor]]] = cache(self._heard)

    def of(self, said: Utterance) -> dict[str, list[torch.Tensor]]:
        """Return one "stop" at each ratio over each noise."""
        return self.heard(said.speaker, np.asarray(said.samples, np.float32).tobytes())

    def _heard(self, _: str, samples: bytes) -> dict[str, list[torch.Tensor]]:
        sound = np.frombuffer(samples, np.float32)
        return {
            "quiet" if ratio is None else f"{ratio:g} dB": [
                energies_of(over_noise(sound, noise, ratio), self._bank)
                for noise in (self._noises[:1] if ratio is None else self._noises)
            ]
            for ratio in RATIOS
        }

    def judged(
        self, spotter: Spotter, held: Sequence[Utterance], an_hour: float, above: float | None = None
    ) -> dict[str, object]:
        """Return what is heard of people's "stop" and of talk, at a threshold fitted to the talk if None."""
        odds = {name: highest(spotter, each) for name, each in self.talk.items()}
        if above is None:
            every = [one for each in odds.values() for one in each]
            above = threshold(every, sum(self.hours.values()), an_hour)
        heard: dict[str, list[tuple[str, float]]] = {}
        for one in held:
            for ratio, each in self.of(one).items():
                heard.setdefault(ratio, []).extend((one.speaker, lead) for lead in highest(spotter, each))
        return {
            "above": above,
            "speakers": len({one.speaker for one in held}),
            "heard": {ratio: [sum(lead > above for _, lead in each), len(each)] for ratio, each in heard.items()},
            "people every time": {
                ratio: sum(
                    all(lead > above for who, lead in each if who == name) for name in {who for who, _ in each}
                )
                for ratio, each in heard.items()
            },
            "false": {
                name: [sum(one > above for one in each), round(self.hours[name], 3)] for name, each in odds.items()
            },
        }


def main() -> None:
    """Read the command line, learn, and print the curve."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--speech", type=Path, default=_ROOT.parent / "shared" / "speech")
    parser.add_argument("--data", type=Path, default=DATA)
    parser.add_argument("--people", type=int, nargs="+", default=[0, 2, 4, 8])
    parser.add_argument("--draws", type=int, default=3, help="trainings for each number of people")
    parser.add_argument("--seconds", type=float, default=25.0, help="for each training, by the clock")
    parser.add_argument("--an-hour", type=float, default=0.5, help="false stops that the threshold lets pass")
    parser.add_argument("--final", action="store_true", help="play the part that is kept for the last test, too")
    parser.add_argument("--json", type=Path, help="save the figures here")
    given = parser.parse_args()
    figures = learn(given)
    if given.json:
        given.json.write_text(json.dumps(figures, indent=1) + "\n", "utf-8")


def learn(given: argparse.Namespace) -> list[dict[str, object]]:
    """Train for each number of people, print and return what each network hears."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    by_people = list(read_block(given.data / "people.flac"))
    by_voices = list(read_block(given.data / "voices.flac"))
    alone = sorted({one.speaker for one in by_people if one.speaker.startswith("an4")})
    taught = [
        (share, Sounds.of([one.samples() for one in talk(given.speech, collections, Part.TRAIN)], device))
        for share, collections in ((0.55, ALONE), (0.2, CONNECTED))
    ]
    taught.append((0.15, Sounds.of([one.samples for one in by_voices if one.words != (WORD,)], device)))
    noises = np.concatenate([one.samples for one in recordings.noises(given.speech, Part.TRAIN)])
    around = Surroundings(torch.from_numpy(noises).to(device), taught[1][1].row)
    tune = Trials(given.speech, Part.TUNE, device)
    tuning_people = bare(given.speech, Part.TUNE)
    print(f"{sum(one.numel() for one in Spotter().parameters())} weights; tuning talk {tune.hours} h", flush=True)
    figures: list[dict[str, object]] = []
    plans = [(count, draw) for count in given.people for draw in range(given.draws)]
    plans += [(len(alone), draw) for draw in range(given.draws)]
    for count, draw in plans:
        chosen = set(random.Random(f"{count} {draw}").sample(alone, count))
        said = [one.samples for one in by_voices if one.words == (WORD,)]
        persons = [one.samples for one in by_people if one.speaker in chosen]
        if count:  # as often as the voices, however few they are
            persons += [one.samples for one in by_people if one.speaker not in alone]
            persons *= max(1, len(said) // len(persons))
        spotter = trained(Sounds.of(said + persons, device), taught, around, given.seconds, draw)
        held = [one for one in by_people if one.speaker in set(alone) - chosen] + tuning_people
        row = tune.judged(spotter, held, given.an_hour)
        figures.append({"people": count, "draw": draw, "part": "tune", **row})
        print(json.dumps(figures[-1]), flush=True)
    if given.final:  # the network trained last, at its own threshold
        final, kept = Trials(given.speech, Part.FINAL, device), bare(given.speech, Part.FINAL)
        last = final.judged(spotter, kept, given.an_hour, float(str(figures[-1]["above"])))
        figures.append({"people": len(alone), "draw": plans[-1][1], "part": "final", **last})
        print(json.dumps(figures[-1]), flush=True)
    return figures


if __name__ == "__main__":
    main()
