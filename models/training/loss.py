"""The full-sum loss over the recogniser's own topology: each phone for one frame, then blank as long as it takes.

With a[t, u] the log-probability of all ways to have said u phones in t frames,
a[t, u] = logadd(a[t-1, u] + blank[t], a[t-1, u-1] + phone_u[t]). Unlike in connectionist temporal
classification a phone is never repeated, because the decoder does not repeat it either.

On a GPU the sum and its derivative are one kernel each (`loss_on_gpu`); elsewhere PyTorch derives them.
"""

from __future__ import annotations

import torch

from models.training.sum_of_ways import sum_of_ways

_TOO_UNLIKELY = 1e4
_PRIOR_SHARE = 0.5
_PRIOR_FLOOR = 3e-4


def ways_of(
    log_probabilities: torch.Tensor, frames: torch.Tensor, phones: torch.Tensor, counts: torch.Tensor
) -> torch.Tensor:
    """Return the log-probability (batch,) of what was said; the arguments are those of `full_sum_loss`."""
    batch, length, _ = log_probabilities.shape
    blank = log_probabilities[:, :, 0]
    spoken = torch.gather(log_probabilities, 2, phones[:, None, :].expand(batch, length, phones.shape[1]))
    if log_probabilities.is_cuda:
        from models.training.loss_on_gpu import SumOfWays  # noqa: PLC0415 - its compiler is only there with a GPU

        return SumOfWays.apply(blank, spoken, frames, counts)
    return sum_of_ways(blank, spoken, frames, counts)


def per_phone(surprise: torch.Tensor, counts: torch.Tensor) -> torch.Tensor:
    """Return the mean of surprises (batch,) per phone, without utterances too short for their phones."""
    fits = surprise < _TOO_UNLIKELY
    return torch.where(fits, surprise / counts.clamp_min(1), 0.0).sum() / fits.sum().clamp_min(1)


def full_sum_loss(
    log_probabilities: torch.Tensor, frames: torch.Tensor, phones: torch.Tensor, counts: torch.Tensor
) -> torch.Tensor:
    """Return the mean of the negative log-likelihood per phone.

    `log_probabilities` (batch, frames, outputs) with output 0 blank; `frames` and `counts` (batch,) say how
    many frames and phones count; `phones` (batch, most phones). Utterances that are too short for their
    phones are left out.
    """
    return per_phone(-ways_of(log_probabilities, frames, phones, counts), counts)


class RunningPrior(torch.nn.Module):
    """How often each output is likely, on a running average; taken off inside the loss.

    Without it the network turns into spikes of phones in a sea of blank, and alignments get meaningless.
    """

    def __init__(self, outputs: int) -> None:
        super().__init__()
        self.share: torch.Tensor
        self.register_buffer("share", torch.full((outputs,), 1.0 / outputs))

    def forward(self, log_probabilities: torch.Tensor, frames: torch.Tensor) -> torch.Tensor:
        """Update the average from the frames that count and take half its logarithm off."""
        with torch.no_grad():
            counted = torch.arange(log_probabilities.shape[1], device=frames.device)[None] < frames[:, None]
            now = (log_probabilities.exp() * counted[:, :, None]).sum((0, 1)) / counted.sum()
            self.share.mul_(0.995).add_(0.005 * now)
        return log_probabilities - _PRIOR_SHARE * self.share.clamp_min(_PRIOR_FLOOR).log()
