"""The phone network (`phones.py`) as a part of the listening network's graph."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from io import BytesIO
from typing import Any, Final

import numpy as np
from onnx import helper, numpy_helper

from handsfree.hearing.general.phones import content

OUTPUT: Final = "phones"
"""What it calls its result: log probabilities, (1, frames, no phone and each phone)."""

_EPSILON: Final = 1e-5


def drawn(states: str) -> tuple[list[Any], list[Any]]:
    """Return the nodes and the weights of the network that takes the `states` of a graph and makes `OUTPUT`."""
    with np.load(BytesIO(content())) as file:
        drawing = _Drawing({name: file[name].astype(np.float32) for name in file.files})
    return drawing.whole(states)


class _Drawing:
    """Level, narrow, some blocks that look at the frames around, level, one sum a phone."""

    def __init__(self, weights: Mapping[str, np.ndarray[Any, Any]]) -> None:
        self._weights, self._nodes, self._used = weights, list[Any](), list[Any]()

    def whole(self, states: str) -> tuple[list[Any], list[Any]]:
        """Draw it."""
        now = self._linear(self._level(states, "inn"), "first")
        for block in range(sum(name.startswith("convs.") for name in self._weights) // 2):
            heard = self._neighbours(self._level(now, f"norms.{block}"), f"convs.{block}")
            now = self._node("Add", [now, self._opened(heard)])
        told = self._linear(self._level(now, "last"), "out")
        self._node("LogSoftmax", [told], OUTPUT, axis=-1)
        return self._nodes, self._used

    def _node(self, kind: str, inputs: Sequence[str], output: str = "", **settings: Any) -> str:
        output = output or f"{OUTPUT}.{len(self._nodes)}"
        self._nodes.append(helper.make_node(kind, inputs, [output], **settings))
        return output

    def _constant(self, name: str, values: np.ndarray[Any, Any]) -> str:
        name = f"{OUTPUT}.{name}"
        if not any(one.name == name for one in self._used):
            self._used.append(numpy_helper.from_array(np.ascontiguousarray(values, np.float32), name))
        return name

    def _level(self, now: str, name: str) -> str:
        given = [self._constant(f"{name}.{one}", self._weights[f"{name}.{one}"]) for one in ("weight", "bias")]
        return self._node("LayerNormalization", [now, *given], epsilon=_EPSILON)

    def _linear(self, now: str, name: str) -> str:
        weight = self._constant(f"{name}.weight", self._weights[f"{name}.weight"].T)
        product = self._node("MatMul", [now, weight])
        return self._node("Add", [product, self._constant(f"{name}.bias", self._weights[f"{name}.bias"])])

    def _neighbours(self, now: str, name: str) -> str:
        weight = self._weights[f"{name}.weight"]
        edge = weight.shape[2] // 2
        inputs = [self._node("Transpose", [now], perm=[0, 2, 1]), self._constant(f"{name}.weight", weight)]
        inputs += [self._constant(f"{name}.bias", self._weights[f"{name}.bias"])]
        return self._node("Transpose", [self._node("Conv", inputs, pads=[edge, edge])], perm=[0, 2, 1])

    def _opened(self, now: str) -> str:
        """Draw the Gaussian error linear unit: x (1 + erf(x / sqrt 2)) / 2 (Hendrycks and Gimpel, 2016)."""
        narrowed = self._node("Mul", [now, self._constant("narrow", np.array(math.sqrt(0.5)))])
        share = self._node("Add", [self._node("Erf", [narrowed]), self._constant("one", np.array(1.0))])
        return self._node("Mul", [self._node("Mul", [now, share]), self._constant("half", np.array(0.5))])
