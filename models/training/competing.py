"""What else might have been said: a model of phone sequences, and the sum over all of them.

Training by `loss.full_sum_loss` alone makes what was said likely; here it is made likelier than everything else
that could be said (maximum mutual information; Povey et al., "Purely sequence-trained neural networks for ASR
based on lattice-free MMI", Interspeech 2016, here for the topology of `loss`). The model is a trigram of phones,
so that the sum needs no graph: its states are the last two phones, and a step is one small product of matrices
for each last phone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import torch
from torch.autograd.function import FunctionCtx

from models.training.loss import per_phone, ways_of

_SHARES = (0.85, 0.12, 0.03)
"""What the counts of three phones, of two, and of one count for."""


_BLANK_PRIOR = 2.5
"""The `--blank-prior` of the export: what is learned here is how that graph decodes."""


class PhoneSequences(torch.nn.Module):
    """How likely phones follow each other. Number 0 stands before the first phone and after the last.

    `following` (outputs, outputs, outputs) holds the probability of the third number after the second (first axis)
    and the one before that (second axis); `following[:, :, 0]` is that of the end.
    """

    def __init__(self, said: Iterable[Sequence[int]], outputs: int) -> None:
        super().__init__()
        counts = torch.zeros(outputs, outputs, outputs)
        for phones in said:
            last, before = 0, 0
            for phone in (*phones, 0):
                counts[last, before, phone] += 1
                last, before = phone, last
        self.following: torch.Tensor
        pair = counts.sum(1, keepdim=True)
        single = pair.sum(0, keepdim=True)
        parts = [one / one.sum(2, keepdim=True).clamp_min(1.0) for one in (counts, pair, single)]
        mixed = sum(share * part for share, part in zip(_SHARES, parts, strict=True))
        assert isinstance(mixed, torch.Tensor)
        self.register_buffer("following", mixed / mixed.sum(2, keepdim=True))

    def log_probability(self, phones: torch.Tensor, counts: torch.Tensor) -> torch.Tensor:
        """Return the log-probability (batch,) of sequences (batch, most phones) of so many phones each."""
        batch, most = phones.shape
        place = torch.arange(most + 1, device=phones.device)[None]
        nothing = phones.new_zeros(batch, 1)
        now = torch.where(place < counts[:, None], torch.cat([phones, nothing], 1), 0)
        last = torch.cat([nothing, now[:, :-1]], 1)
        before = torch.cat([nothing, last[:, :-1]], 1)
        logs = self.following[last, before, now].log()
        return torch.where(place <= counts[:, None], logs, 0.0).sum(1)


class SumOfAllWays(torch.autograd.Function):
    """The log-probability (batch,) of all sequences of phones together, with its derivative.

    Takes scores (batch, frames, outputs), logarithms with output 0 blank; how many frames count (batch,); and
    `PhoneSequences.following`.
    """

    @staticmethod
    def forward(
        ctx: FunctionCtx, scores: torch.Tensor, frames: torch.Tensor, following: torch.Tensor
    ) -> torch.Tensor:
        """Go through the frames, keeping the share of each pair of last phones."""
        batch, length, outputs = scores.shape
        highest = scores.max(2, keepdim=True).values
        counted = torch.arange(length, device=scores.device)[None] < frames[:, None]
        odds = (scores - highest).exp()
        odds = torch.where(counted[:, :, None], odds, 0.0)
        blanks = torch.where(counted, odds[:, :, 0], 1.0).T.contiguous()  # (frames, batch)
        phones = odds.permute(1, 2, 0).contiguous()  # (frames, outputs, batch)
        phones[:, 0] = 0.0
        onward = following.clone()
        onward[:, :, 0] = 0.0
        ways = scores.new_empty(length + 1, outputs, batch, outputs)  # last phone, row, phone before
        totals = scores.new_empty(length, batch)
        ways[0] = 0.0
        ways[0, 0, :, 0] = 1.0
        for t in range(length):
            now = torch.bmm(ways[t], onward).permute(2, 1, 0) * phones[t][:, :, None]
            now.addcmul_(ways[t], blanks[t][None, :, None])
            torch.sum(now, (0, 2), out=totals[t])
            torch.div(now, totals[t][None, :, None], out=ways[t + 1])
        ends = following[:, :, 0]
        last = (ways[length] * ends[:, None, :]).sum((0, 2))
        ctx.save_for_backward(ways, totals, blanks, phones, onward, ends, last)
        return totals.log().sum(0) + last.log() + (highest[:, :, 0] * counted).sum(1)

    @staticmethod
    def backward(ctx: Any, *slopes: torch.Tensor) -> tuple[torch.Tensor, None, None]:
        """Go back from the end: the derivative is how much of all ways passes each output in each frame."""
        ways, totals, blanks, phones, onward, ends, last = ctx.saved_tensors
        length, batch = totals.shape
        found = phones.new_empty(length, phones.shape[1], batch)
        rest = (ends[:, None, :] / last[None, :, None]).contiguous()
        back = onward.transpose(1, 2).contiguous()
        for t in reversed(range(length)):
            rest = rest / totals[t][None, :, None]
            stayed = rest * blanks[t][None, :, None]
            coming = (rest * phones[t][:, :, None]).permute(2, 1, 0)  # of phone before, row, phone now
            led = torch.bmm(coming, back)
            now = torch.bmm(ways[t], onward).permute(2, 1, 0)
            torch.sum(now * rest * phones[t][:, :, None], 2, out=found[t])
            torch.sum(ways[t] * stayed, (0, 2), out=found[t, 0])
            rest = stayed + led
        counted = phones.sum(1) > 0
        return found.permute(2, 0, 1) * counted.T[:, :, None] * slopes[0][:, None, None], None, None


def competing_loss(
    log_probabilities: torch.Tensor,
    frames: torch.Tensor,
    phones: torch.Tensor,
    counts: torch.Tensor,
    sequences: PhoneSequences,
) -> torch.Tensor:
    """Return the mean of the negative log-probability, per phone, of what was said among all that might have been.

    Takes what `loss.full_sum_loss` does; phones are favoured over blank as when decoding.
    """
    scores = log_probabilities.clone()
    scores[:, :, 1:] += _BLANK_PRIOR
    said = ways_of(scores, frames, phones, counts) + sequences.log_probability(phones, counts)
    return per_phone(SumOfAllWays.apply(scores, frames, sequences.following) - said, counts)
