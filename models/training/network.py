"""The acoustic network: factored time-delay layers with skips, and its form for the recogniser.

Every layer is "valid" (no padding); the edges of an utterance are padded once, by repeating its first and
last frame of features, as the recogniser does. Normalisation follows each affine step directly, so it folds
into it exactly. The first layers look at every frame, the others at every third, which is also the rate
of the output. They look further back than ahead: what is ahead must be waited for, and what is behind tells
the room and its noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import torch
from torch import nn

from models.training.acoustic_model import Floats, Layer
from models.training.features import BINS

SUBSAMPLING = 3
_TAPS = 5
_SKIP = 0.66


@dataclass(frozen=True)
class Shape:
    """Sizes of the network: outputs, width, bottleneck, and the reach of each layer.

    `full_rate` and `third_rate` hold, for each layer at that rate, how many of its frames it looks back and ahead.
    """

    outputs: int
    width: int = 640
    bottleneck: int = 144
    full_rate: tuple[tuple[int, int], ...] = ((1, 1),) * 3
    third_rate: tuple[tuple[int, int], ...] = ((1, 1), (1, 1), (1, 1), (2, 1), (2, 1), (3, 1), (3, 1), (3, 0))

    @property
    def context(self) -> tuple[int, int]:
        """How many frames of features are needed before and after."""
        half = (_TAPS - 1) // 2
        before, after = (
            half
            + sum(reach[side] for reach in self.full_rate)
            + SUBSAMPLING * sum(r[side] for r in self.third_rate)
            for side in (0, 1)
        )
        return before, after


class _Spliced(nn.Module):
    """An affine step over a frame and a later one: (batch, frames, inputs) to (batch, fewer frames, outputs).

    Written as matrix products, with channels last: several times faster than a convolution of so few taps.
    """

    def __init__(self, inputs: int, outputs: int, ahead: int, bias: bool) -> None:
        super().__init__()
        self.ahead = ahead
        like = nn.Conv1d(inputs, outputs, 2 if ahead else 1, bias=bias)
        self.weight = like.weight
        """(outputs, inputs, frames)"""
        self.bias = like.bias

    def forward(self, frames: torch.Tensor) -> torch.Tensor:
        taps = self.weight.unbind(2)
        kept = frames.shape[1] - self.ahead
        if len(taps) == 1:
            return nn.functional.linear(frames, taps[0], self.bias)
        if len(self.weight) < frames.shape[2]:  # shift what is narrow: the products here, the frames below
            now, later = nn.functional.linear(frames, torch.cat(taps)).chunk(2, dim=2)
            out = now[:, :kept] + later[:, self.ahead :]
            return out if self.bias is None else out + self.bias
        both = torch.cat([frames[:, :kept], frames[:, self.ahead :]], 2)
        return nn.functional.linear(both, torch.cat(taps, 1), self.bias)


class _Factored(nn.Module):
    """Now and back to a bottleneck, now and ahead of that to the full width, and the input at that place added."""

    def __init__(self, shape: Shape, reach: tuple[int, int], dropout: float) -> None:
        super().__init__()
        self.back, self.ahead = reach
        self.narrow = _Spliced(shape.width, shape.bottleneck, max(1, self.back), bias=False)
        self.wide = _Spliced(shape.bottleneck, shape.width, self.ahead, bias=True)
        self.normal = nn.BatchNorm1d(shape.width)
        self.dropout = nn.Dropout(dropout)

    def forward(self, frames: torch.Tensor) -> torch.Tensor:
        wide = self.wide(self.narrow(frames))
        out = self.dropout(self.normal(wide.flatten(0, 1)).relu()).view_as(wide)
        return out + _SKIP * frames[:, self.back : frames.shape[1] - self.ahead]


class Network(nn.Module):
    """Features (batch, 40, frames with context) to log-probabilities (batch, third of the frames, outputs)."""

    def __init__(self, shape: Shape, dropout: float = 0.1) -> None:
        super().__init__()
        self.shape = shape
        self.mean: torch.Tensor
        self.deviation: torch.Tensor
        self.register_buffer("mean", torch.zeros(BINS))
        self.register_buffer("deviation", torch.ones(BINS))
        self.first = nn.Conv1d(BINS, shape.width, _TAPS)
        self.first_normal = nn.BatchNorm1d(shape.width)
        self.full = nn.Sequential(*(_Factored(shape, reach, dropout) for reach in shape.full_rate))
        self.third = nn.Sequential(*(_Factored(shape, reach, dropout) for reach in shape.third_rate))
        self.last = nn.Conv1d(shape.width, shape.outputs, 1)

    def forward(self, features: torch.Tensor) -> torch.Tensor:
        """`features` are (batch, frames, 40), not yet padded."""
        frames = ((features - self.mean) / self.deviation).transpose(1, 2)
        frames = nn.functional.pad(frames, self.shape.context, mode="replicate")
        first = self.first(frames).transpose(1, 2).contiguous()
        frames = self.full(self.first_normal(first.flatten(0, 1)).relu().view_as(first))
        frames = self.third(frames[:, ::SUBSAMPLING])
        return nn.functional.linear(frames, self.last.weight[:, :, 0], self.last.bias).float().log_softmax(2)

    def checkpoint(self, phones: tuple[str, ...]) -> dict[str, Any]:
        """Return all that is needed to export the network or train on."""
        return {"shape": asdict(self.shape), "phones": list(phones), "state": self.state_dict()}

    @classmethod
    def from_checkpoint(cls, checkpoint: dict[str, Any]) -> Network:
        """Make the network of a checkpoint."""
        reaches = {name: tuple(map(tuple, checkpoint["shape"][name])) for name in ("full_rate", "third_rate")}
        network = cls(Shape(**{**checkpoint["shape"], **reaches}))
        network.load_state_dict(checkpoint["state"])
        return network

    @classmethod
    def from_layers(cls, layers: Sequence[Layer], dropout: float = 0.1) -> Network:
        """Make the network of a written model; its normalisations, folded into the steps, change nothing.

        Before training goes on give it a mean and a deviation of features and call `unfold`.
        """
        first, *blocks, last = layers
        reaches: dict[int, list[tuple[int, int]]] = {1: [], SUBSAMPLING: []}
        for narrow, wide in zip(blocks[::2], blocks[1::2], strict=True):
            spread = 1 if narrow.offsets[0] % SUBSAMPLING else SUBSAMPLING
            reaches[spread].append((-narrow.offsets[0] // spread, wide.offsets[-1] // spread))
        sizes = (len(last.bias), len(first.bias), len(blocks[0].bias))
        network = cls(Shape(*sizes, tuple(reaches[1]), tuple(reaches[SUBSAMPLING])), dropout)
        with torch.no_grad():
            network.first.weight.copy_(_spread(first))
            network.last.weight.copy_(_spread(last))
            for part, layer in ((network.first, first), (network.last, last)):
                assert part.bias is not None
                part.bias.copy_(torch.tensor(layer.bias))
            for block, narrow, wide in zip(
                (*network.full, *network.third), blocks[::2], blocks[1::2], strict=True
            ):
                assert isinstance(block, _Factored)
                block.narrow.weight.copy_(_spread(narrow))
                block.wide.weight.copy_(_spread(wide))
                block.wide.bias.copy_(torch.tensor(wide.bias))
            for normal in network._normals():
                normal.running_var.fill_(1.0 - normal.eps)  # type: ignore[union-attr, operator]
        return network

    def _normals(self) -> Sequence[nn.BatchNorm1d]:
        return [part for part in self.modules() if isinstance(part, nn.BatchNorm1d)]

    @torch.no_grad()
    def unfold(self, features: torch.Tensor) -> None:
        """Let a network that was made `from_layers` train like a new one; it computes what it did.

        The mean and deviation of `features` (batch, frames, 40) come out of the first step again, and each
        normalisation gets those of what passes it.
        """
        self.eval()
        mean, deviation = features.mean((0, 1)), features.std((0, 1))
        assert self.first.bias is not None
        self.first.bias += torch.einsum("oit,i->o", self.first.weight, mean)
        self.first.weight *= deviation[None, :, None]
        self.mean.copy_(mean)
        self.deviation.copy_(deviation)
        passing: dict[nn.Module, torch.Tensor] = {}
        hooks = [
            normal.register_forward_pre_hook(lambda part, given: passing.update({part: given[0]}))
            for normal in self._normals()
        ]
        self(features)
        for hook in hooks:
            hook.remove()
        for normal in self._normals():
            variance, mean = torch.var_mean(passing[normal].float(), 0)
            normal.running_var.copy_(variance)  # type: ignore[union-attr, operator]
            normal.running_mean.copy_(mean)  # type: ignore[union-attr, operator]
            normal.weight.copy_((variance + normal.eps).sqrt())
            normal.bias.copy_(mean)
        self.train()

    def layers(self) -> list[Layer]:
        """Return the network as affine steps with the normalisations folded in."""
        scale = 1.0 / _array(self.deviation)
        weights, bias = _array(self.first.weight), _array(self.first.bias)
        bias = bias - np.einsum("oik,i->o", weights, _array(self.mean) * scale)
        weights, bias = _folded(weights * scale[None, :, None], bias, self.first_normal)
        half = (_TAPS - 1) // 2
        layers = [Layer("first", _columns(weights), bias, tuple(range(-half, half + 1)), rectified=True)]
        blocks = [(block, 1) for block in self.full] + [(block, SUBSAMPLING) for block in self.third]
        for number, (block, spread) in enumerate(blocks, 2):
            assert isinstance(block, _Factored)
            narrow, wide = _array(block.narrow.weight), _array(block.wide.weight)
            before = layers[-1].name
            none = np.zeros(len(narrow), dtype=np.float32)
            back = (-spread * block.back, 0)
            layers.append(Layer(f"narrow{number}", _columns(narrow), none, back, rectified=False))
            wide, bias = _folded(wide, _array(block.wide.bias), block.normal)
            layers.append(
                Layer(
                    f"wide{number}",
                    _columns(wide),
                    bias,
                    (0, spread * block.ahead) if block.ahead else (0,),
                    rectified=True,
                    skip=before,
                    skip_scale=_SKIP,
                )
            )
        layers.append(
            Layer("last", _columns(_array(self.last.weight)), _array(self.last.bias), (0,), rectified=False)
        )
        return layers


def _array(tensor: torch.Tensor | None) -> Floats:
    assert tensor is not None
    return np.asarray(tensor.detach().cpu().numpy(), dtype=np.float32)


def _folded(weights: Floats, bias: Floats, normal: nn.BatchNorm1d) -> tuple[Floats, Floats]:
    """Fold the normalisation that follows an affine step into it."""
    scale = _array(normal.weight) / np.sqrt(_array(normal.running_var) + normal.eps)
    return weights * scale[:, None, None], (bias - _array(normal.running_mean)) * scale + _array(normal.bias)


def _spread(layer: Layer) -> torch.Tensor:
    """Turn (outputs, taps x inputs) into (outputs, inputs, taps)."""
    taps = len(layer.offsets)
    weights = layer.weights.reshape(len(layer.weights), taps, -1).transpose(0, 2, 1)
    return torch.tensor(weights)


def _columns(weights: Floats) -> Floats:
    """Turn (outputs, inputs, taps) into (outputs, taps x inputs)."""
    return np.ascontiguousarray(weights.transpose(0, 2, 1).reshape(len(weights), -1), dtype=np.float32)
