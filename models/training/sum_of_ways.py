"""The sum over all ways to say a row of phones, as PyTorch derives it; `loss` says what is summed."""

from __future__ import annotations

import torch

NEVER = -1e30
"""The logarithm of what cannot be: finite, so that no difference of two is undefined."""


def sum_of_ways(
    blank: torch.Tensor, spoken: torch.Tensor, frames: torch.Tensor, counts: torch.Tensor
) -> torch.Tensor:
    """Return the log-probability (batch,) of all ways to say `counts` phones in `frames` frames.

    `blank` (batch, frames) and `spoken` (batch, frames, most phones) are log-probabilities, the second of each
    utterance's own phones in their order.
    """
    ways = torch.full((len(blank), spoken.shape[2] + 1), NEVER, device=blank.device)
    ways[:, 0] = 0.0
    blanks = blank.unbind(1)  # indexing [:, t] would make the backward pass quadratic
    phones = spoken.unbind(1)
    for t in range(len(blanks)):
        stayed = ways + blanks[t][:, None]
        moved = torch.cat([torch.full_like(ways[:, :1], NEVER), ways[:, :-1] + phones[t]], 1)
        ways = torch.where((t < frames)[:, None], torch.logaddexp(stayed, moved), ways)
    return ways.gather(1, counts[:, None])[:, 0]
