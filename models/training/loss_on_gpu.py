# ruff: noqa: ANN001, ANN202, N803 - kernels: their compiler types the arguments, constants are in capitals
"""The sum over all ways (see `loss`) and its derivative as one GPU kernel each, an utterance a program.

PyTorch would launch a dozen kernels for every frame, and the GPU would wait for each. The
derivative is the usual one of such sums: how likely each step is, given that everything was said.
"""

from __future__ import annotations

from typing import Any

import torch
import triton
import triton.language as tl
from torch.autograd.function import FunctionCtx

from models.training.sum_of_ways import NEVER


@triton.jit
def _add(one, other):
    most = tl.maximum(one, other)
    return most + tl.log(tl.exp(one - most) + tl.exp(other - most))


@triton.jit
def _forward(blank, spoken, frames, counts, ways, total, length, most, never, SIZE: tl.constexpr):
    """`ways` (batch, length + 1, SIZE) receives the log-probability of u phones in t frames."""
    row = tl.program_id(0).to(tl.int64)
    place = tl.arange(0, SIZE)
    said = (place >= 1) & (place <= most)
    now = tl.where(place == 0, 0.0, never)
    ways += row * (length + 1) * SIZE
    tl.store(ways + place, now)
    here = tl.load(frames + row)
    for t in range(here):
        tl.debug_barrier()  # a neighbour's last value is read from memory
        before = tl.load(ways + t * SIZE + place - 1, mask=place >= 1, other=-1e30)
        phone = tl.load(spoken + (row * length + t) * most + place - 1, mask=said, other=-1e30)
        now = tl.maximum(_add(now + tl.load(blank + row * length + t), before + phone), never)
        tl.store(ways + (t + 1) * SIZE + place, now)
    tl.store(total + row, tl.sum(tl.where(place == tl.load(counts + row), now, 0.0), 0))


@triton.jit
def _backward(
    blank, spoken, frames, counts, ways, total, slope, blank_slope, spoken_slope, shared, length, most, never,
    SIZE: tl.constexpr,
):  # fmt: skip
    """Go back from the end; `shared` (batch, 2, SIZE) lets each place see its neighbour's value."""
    row = tl.program_id(0).to(tl.int64)
    place = tl.arange(0, SIZE)
    rest = tl.where(place == tl.load(counts + row), 0.0, never)
    ways += row * (length + 1) * SIZE
    shared += row * 2 * SIZE
    everything = tl.load(total + row)
    weight = tl.load(slope + row)
    here = tl.load(frames + row)
    for back in range(here):
        t = here - 1 - back
        turn = shared + (back % 2) * SIZE
        tl.store(turn + place, rest)
        tl.debug_barrier()
        after = tl.load(turn + place + 1, mask=place + 1 < SIZE, other=-1e30)
        phone = tl.load(spoken + (row * length + t) * most + place, mask=place < most, other=-1e30)
        before = tl.load(ways + t * SIZE + place)
        stayed = rest + tl.load(blank + row * length + t)
        moved = after + phone
        tl.store(blank_slope + row * length + t, weight * tl.sum(tl.exp(before + stayed - everything), 0))
        share = weight * tl.exp(before + moved - everything)
        tl.store(spoken_slope + (row * length + t) * most + place, share, mask=place < most)
        rest = tl.maximum(_add(stayed, moved), never)


class SumOfWays(torch.autograd.Function):
    """`loss.sum_of_ways` on a GPU, with its derivative."""

    @staticmethod
    def forward(
        ctx: FunctionCtx,
        blank: torch.Tensor,
        spoken: torch.Tensor,
        frames: torch.Tensor,
        counts: torch.Tensor,
    ) -> torch.Tensor:
        """Take and return what `loss.sum_of_ways` does."""
        blank, spoken = blank.float().contiguous(), spoken.float().contiguous()
        frames, counts = frames.clamp_max(blank.shape[1]).int(), counts.int()
        batch, length, most = spoken.shape
        size = triton.next_power_of_2(most + 1)
        ways = torch.empty((batch, length + 1, size), device=blank.device)
        total = torch.empty(batch, device=blank.device)
        _forward[(batch,)](blank, spoken, frames, counts, ways, total, length, most, NEVER, SIZE=size, num_warps=1)
        ctx.save_for_backward(blank, spoken, frames, counts, ways, total)
        return total

    @staticmethod
    def backward(ctx: Any, *slopes: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor, None, None]:
        """Return the derivatives by `blank` and `spoken`."""
        blank, spoken, frames, counts, ways, total = ctx.saved_tensors
        batch, length, most = spoken.shape
        size = ways.shape[2]
        possible = total > NEVER / 2
        total = torch.where(possible, total, 0.0)
        slope = torch.where(possible, slopes[0], 0.0).contiguous()
        blank_slope, spoken_slope = torch.zeros_like(blank), torch.zeros_like(spoken)
        shared = torch.empty((batch, 2, size), device=blank.device)
        _backward[(batch,)](
            blank, spoken, frames, counts, ways, total, slope, blank_slope, spoken_slope, shared, length, most,
            NEVER, SIZE=size, num_warps=1,
        )  # fmt: skip
        return blank_slope, spoken_slope, None, None
