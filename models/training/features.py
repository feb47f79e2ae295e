"""Log mel energies as the recogniser computes them, on any device, with a stretchable frequency axis.

Same numbers as Kaldi's `fbank` with the settings of `conf/fbank.conf`: frames of 25 ms every 10 ms, no partial
frames, each with its mean removed, pre-emphasis 0.97, Povey window, 512-point spectrum, 40 triangular mel bins
from 20 Hz to 7600 Hz. Stretching the axis makes speakers with longer or shorter vocal tracts.
"""

from __future__ import annotations

import numpy as np
import torch

RATE = 16_000
BINS = 40
_FRAME, _SHIFT, _POINTS = 400, 160, 512
_LOW, _HIGH = 20.0, RATE / 2 - 400.0
_FLOOR = 1.1920929e-07  # float32's epsilon, as Kaldi floors before the logarithm


class Filterbank(torch.nn.Module):
    """Turns samples (batch, samples), at the scale of 16-bit numbers, into (batch, frames, 40)."""

    def __init__(self, stretches: tuple[float, ...] = (1.0,)) -> None:
        super().__init__()
        window = torch.hann_window(_FRAME, periodic=False, dtype=torch.float64).pow(0.85).float()
        banks = np.stack([mel_bank(stretch) for stretch in stretches])
        self.window: torch.Tensor
        self.banks: torch.Tensor
        self.register_buffer("window", window)
        self.register_buffer("banks", torch.from_numpy(banks))

    def forward(self, samples: torch.Tensor, stretch: torch.Tensor | None = None) -> torch.Tensor:
        """`stretch` (batch,) says which of the stretches each row takes; the first when not given."""
        frames = samples.unfold(1, _FRAME, _SHIFT)
        frames = frames - frames.mean(2, keepdim=True)
        first = frames[:, :, :1] * (1 - 0.97)
        frames = torch.cat([first, frames[:, :, 1:] - 0.97 * frames[:, :, :-1]], 2) * self.window
        power = torch.fft.rfft(frames, _POINTS).abs().square()
        banks = self.banks[
            torch.zeros(len(samples), dtype=torch.long, device=samples.device) if stretch is None else stretch
        ]
        return torch.bmm(power, banks).clamp_min(_FLOOR).log()


def frame_counts(lengths: torch.Tensor) -> torch.Tensor:
    """Return how many frames so many samples give."""
    return (lengths - _FRAME) // _SHIFT + 1


def mel_bank(stretch: float) -> np.ndarray:
    """Return the triangles (257, 40) for frequencies that are stretched by a factor before they are binned."""
    mel = 1127.0 * np.log1p(np.arange(_POINTS // 2 + 1) * RATE / _POINTS * stretch / 700.0)
    edges = np.linspace(1127.0 * np.log1p(_LOW / 700.0), 1127.0 * np.log1p(_HIGH / 700.0), BINS + 2)
    rising = (mel[:, None] - edges[None, :-2]) / (edges[1:-1] - edges[:-2])
    falling = (edges[None, 2:] - mel[:, None]) / (edges[2:] - edges[1:-1])
    bank = np.maximum(0.0, np.minimum(rising, falling))
    bank[-1] = 0.0  # the last point is left out by Kaldi
    return bank.astype(np.float32)
