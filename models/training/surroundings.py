"""What happens to speech on its way to the microphone, made at random for a whole batch at once.

Room echo and distance, colouring, band limits, burner roar, fans, hum, hammering, other people talking, level,
clipping, and the grain of a cheap microphone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch

from models.training.features import RATE

_HALF_SCALE = 32767.0


@dataclass(frozen=True)
class Surroundings:
    """Adds surroundings to batches; `noises` and `talk` are long stretches of recorded sound on the device."""

    noises: torch.Tensor
    talk: torch.Tensor

    def __call__(self, speech: torch.Tensor, lengths: torch.Tensor) -> torch.Tensor:
        """Take speech (batch, samples) of any level and return it as heard, at the scale of 16-bit numbers."""
        batch, size = speech.shape
        heard = _coloured(_echoing(speech), size)
        power = heard.square().sum(1) / lengths
        loud = _chance(batch, 0.5, speech)
        snr = torch.where(loud, _uniform(batch, 1, -3.0, 12.0, speech), _uniform(batch, 1, 5.0, 30.0, speech))
        noise = self._noise(batch, size, speech)
        quiet = (power < 1e-9)[:, None]  # nothing was said: noise at some level of its own
        level = torch.where(quiet, torch.full_like(power, 0.01)[:, None], power[:, None]).sqrt()
        clean = _chance(batch, 0.12, speech)
        heard = heard + torch.where(clean & ~quiet, 0.0, 1.0) * noise * level * 10 ** (-snr / 20)
        # other people only well below the speaker, and never alone: talk must not be learned as silence
        talk = (
            _levelled(_stretches(self.talk, batch, size))
            * level
            * 10 ** (-_uniform(batch, 1, 10, 26, speech) / 20)
        )
        heard = heard + torch.where(~quiet & _chance(batch, 0.1, speech), talk, 0.0)
        heard = heard / heard.abs().amax(1, keepdim=True).clamp_min(1e-6)
        clipped = (heard * _uniform(batch, 1, 1.0, 6.0, speech)).clamp(-0.9, 0.9)
        heard = torch.where(_chance(batch, 0.08, speech), clipped, heard)
        heard = heard * 10 ** (_uniform(batch, 1, -32.0, 0.0, speech) / 20) * _HALF_SCALE
        heard = heard + torch.randn_like(heard) * _uniform(batch, 1, 0.0, 6.0, speech)
        return heard.clamp(-_HALF_SCALE, _HALF_SCALE).round()

    def _noise(self, batch: int, size: int, like: torch.Tensor) -> torch.Tensor:
        """Return noise of power one: a mixture of up to three kinds."""
        kinds = [
            (1.0, _coloured_noise(batch, size, like)),
            (0.5, _humming(batch, size, like)),
            (0.25, _hammering(batch, size, like)),
            (0.45, _stretches(self.noises, batch, size)),
        ]
        weights = torch.stack(
            [_uniform(batch, 1, 0.0, 1.0, like) * _chance(batch, share, like) for share, _ in kinds]
        )
        weights[0] += 0.02
        mixed = sum(weight * _levelled(kind) for weight, (_, kind) in zip(weights, kinds, strict=True))
        assert isinstance(mixed, torch.Tensor)
        return _levelled(mixed)


def _echoing(speech: torch.Tensor) -> torch.Tensor:
    """Add early reflections and a decaying tail, from a dry close microphone to a far one in a tiled closet."""
    batch, size = speech.shape
    reach = RATE * 4 // 10
    time = torch.arange(reach, device=speech.device)[None] / RATE
    decay = _uniform(batch, 1, 0.03, 0.35, speech)
    tail = torch.randn(batch, reach, device=speech.device) * torch.exp(-6.9 * time / decay)
    tail = tail * (time > _uniform(batch, 1, 0.001, 0.01, speech))
    tail = tail / tail.norm(dim=1, keepdim=True).clamp_min(1e-6)
    tail = tail * _uniform(batch, 1, 0.0, 1.0, speech) * _chance(batch, 0.6, speech)
    tail[:, 0] += 1.0
    points = size + RATE // 2  # no less than size and reach, and a length that transforms quickly
    return torch.fft.irfft(torch.fft.rfft(speech, points) * torch.fft.rfft(tail, points), points)[:, :size]


def _coloured(speech: torch.Tensor, size: int) -> torch.Tensor:
    """Shape the spectrum as microphones, cases, telephones and masks do."""
    batch = len(speech)
    spectrum = torch.fft.rfft(speech, 2 * size)
    hertz = torch.linspace(0, RATE / 2, spectrum.shape[1], device=speech.device)[None]
    gain = torch.zeros(batch, spectrum.shape[1], device=speech.device)
    for _ in range(3):
        centre, width = _uniform(batch, 1, 0, RATE / 2, speech), _uniform(batch, 1, 300, 2000, speech)
        gain = gain + _uniform(batch, 1, -9, 9, speech) * torch.exp(-(((hertz - centre) / width) ** 2))
    gain = gain + _uniform(batch, 1, -3, 3, speech) * torch.log2(hertz.clamp_min(60) / 1000)
    shape = 10 ** (gain / 20)
    low = torch.where(
        _chance(batch, 0.25, speech), _uniform(batch, 1, 2700, 7000, speech), torch.full_like(centre, 9e3)
    )
    telephone = _chance(batch, 0.18, speech)
    low = torch.where(telephone, _uniform(batch, 1, 3300, 4000, speech), low)
    steep = torch.where(telephone, 25.0, 120.0)  # telephones cut off sharply
    high = torch.where(
        _chance(batch, 0.4, speech), _uniform(batch, 1, 50, 350, speech), torch.full_like(centre, -1e3)
    )
    shape = shape * torch.sigmoid((low - hertz) / steep) * torch.sigmoid((hertz - high) / 30)
    return torch.fft.irfft(spectrum * shape, 2 * size)[:, :size]


def _coloured_noise(batch: int, size: int, like: torch.Tensor) -> torch.Tensor:
    """Roar of burners, fans and air: falling spectra with resonances, swelling slowly or fluttering."""
    spectrum = torch.fft.rfft(torch.randn(batch, size, device=like.device))
    place = torch.linspace(0, 1, spectrum.shape[1], device=like.device)[None] + 1e-3
    shape = place.pow(-_uniform(batch, 1, -0.2, 2.0, like))
    for _ in range(3):
        centre = _uniform(batch, 1, 0, 1, like).square() * 0.6
        width = _uniform(batch, 1, 0.003, 0.05, like)
        shape = shape * (1 + _uniform(batch, 1, 0, 8, like) * torch.exp(-(((place - centre) / width) ** 2)))
    time = torch.arange(size, device=like.device)[None] / RATE
    beat = _uniform(batch, 1, 0.3, 20, like) * time + _uniform(batch, 1, 0, 1, like)
    return torch.fft.irfft(spectrum * shape, size) * (
        1 + _uniform(batch, 1, 0, 0.6, like) * torch.sin(2 * math.pi * beat)
    )


def _humming(batch: int, size: int, like: torch.Tensor) -> torch.Tensor:
    """Pumps, transformers and motors: a tone with overtones, up to a whine."""
    time = torch.arange(size, device=like.device)[None] / RATE
    base = 40 * 2 ** _uniform(batch, 1, 0, 4.5, like)
    falling = _uniform(batch, 1, 0.2, 1.6, like)
    tones = torch.zeros(batch, size, device=like.device)
    for overtone in range(1, 9):
        turn = base * overtone * time + _uniform(batch, 1, 0, 1, like)
        tones = tones + torch.sin(2 * math.pi * turn) / overtone**falling * (base * overtone < RATE / 2)
    return tones


def _hammering(batch: int, size: int, like: torch.Tensor) -> torch.Tensor:
    """Blows on metal: ringing clicks at a slow beat."""
    strikes = (torch.rand(batch, size, device=like.device) < _uniform(batch, 1, 0.5, 5, like) / RATE).float()
    reach = RATE // 5
    time = torch.arange(reach, device=like.device)[None] / RATE
    ring = torch.sin(2 * math.pi * _uniform(batch, 1, 300, 4000, like) * time) + 0.5 * torch.randn(
        batch, reach, device=like.device
    )
    ring = ring * torch.exp(-time / _uniform(batch, 1, 0.004, 0.05, like))
    points = size + RATE // 4
    return torch.fft.irfft(torch.fft.rfft(strikes, points) * torch.fft.rfft(ring, points), points)[:, :size]


def _stretches(sound: torch.Tensor, batch: int, size: int) -> torch.Tensor:
    """Take a stretch of recorded sound for each row."""
    begins = torch.randint(0, max(1, len(sound) - size), (batch, 1), device=sound.device)
    places = (begins + torch.arange(size, device=sound.device)[None]) % len(sound)
    return sound[places]


def _levelled(sound: torch.Tensor) -> torch.Tensor:
    return sound / sound.square().mean(1, keepdim=True).sqrt().clamp_min(1e-5)


def _uniform(batch: int, columns: int, low: float, high: float, like: torch.Tensor) -> torch.Tensor:
    return torch.rand(batch, columns, device=like.device) * (high - low) + low


def _chance(batch: int, share: float, like: torch.Tensor) -> torch.Tensor:
    return torch.rand(batch, 1, device=like.device) < share
