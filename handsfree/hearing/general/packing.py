"""The networks of the general recogniser as they lie in their files, made quick.

The files hold weights in 8 bits, and turn all of them into floats again at every step: 150 ms for a single
piece of text, whatever is asked. Here each product with such a weight becomes one that multiplies by 8-bit blocks
itself (`MatMulNBits`), in a quarter of the memory. The values of the weights stay as they are; around them the
networks are drawn anew (`graphs.py`).
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
import onnx
import onnxruntime
from onnx import helper, numpy_helper

from handsfree.hearing.general import graphs
from handsfree.hearing.general.graphs import BLOCK_SUMS, WHOLE_SUMS
from handsfree.hearing.general.made_ready import LISTENING, TABLE, WHOLE, WRITING

_BLOCKS: Final = (128, 32)
"""Weights that share a scale, where that parts a row evenly; theirs is one for the matrix, so any size does."""
_EIGHT_BIT: Final = 4
"""The library's word for sums in 8 bits."""
_OFFSET: Final = 128
_WHOLE: Final = "_add_tensor"
"""How the files name a weight that was turned into floats."""
_DOMAIN: Final = "com.microsoft"


def packed(file: Path, *, whole_sums: bool) -> Any:
    """Return the network of an .ort file as a model whose weights are kept in 8 bits; `whole_sums` as `made`.

    Raises ValueError when its weights are not of the kind expected.
    """
    model = _converted(file)
    graph = model.graph
    whole = {
        name: name.removesuffix(_WHOLE) for node in graph.node for name in node.output if name.endswith(_WHOLE)
    }
    parts = list(_graphs(graph))
    turned = {
        node.output[0]: whole[node.input[0]]
        for each in parts
        for node in each.node
        if node.op_type == "Transpose" and node.input[0] in whole
    }
    weights = _Weights(graph, whole_sums=whole_sums)
    for each in parts:
        for node in each.node:
            if node.op_type == "MatMul" and node.input[1] in whole:
                weights.multiply(node, whole[node.input[1]], across=False)
            elif node.op_type == "MatMul" and node.input[1] in turned:
                weights.multiply(node, turned[node.input[1]], across=True)
    graph.initializer.extend(weights.made)
    if not any(one.domain == _DOMAIN for one in model.opset_import):
        model.opset_import.append(helper.make_opsetid(_DOMAIN, 1))
    return model


def made(encoder: Path, decoder: Path, folder: Path, *, whole_sums: bool) -> None:
    """Write the networks of two .ort files, drawn anew, and the table of the pieces into a folder.

    With `whole_sums` what is multiplied is itself turned into 8 bits, all of it by one scale, and whole rows are
    summed in 8 bits: three times as quick where the processor has an instruction for that, and wrong where it has
    to do with one that overflows. Otherwise sums are of blocks.
    """
    hears, writes = (packed(file, whole_sums=whole_sums) for file in (encoder, decoder))
    hears = graphs.listening(hears, writes)
    _drop_unused(hears.graph)
    (folder / LISTENING).write_bytes(hears.SerializeToString())
    (folder / WRITING).write_bytes(graphs.writing(writes).SerializeToString())
    np.save(folder / TABLE, graphs.table(writes))


def _converted(file: Path) -> Any:
    with tempfile.TemporaryDirectory(prefix="handsfree-general-") as name:
        target = Path(name) / "network.onnx"
        options = onnxruntime.SessionOptions()
        options.log_severity_level = 3
        options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_DISABLE_ALL
        options.optimized_model_filepath = str(target)
        options.add_session_config_entry("session.save_model_format", "ONNX")
        onnxruntime.InferenceSession(str(file), options, providers=["CPUExecutionProvider"])
        model = onnx.load(str(target))
    for graph in _graphs(model.graph):
        graph.name = graph.name or "part"  # the conversion forgets it, and it must have one
    return model


def _graphs(graph: Any) -> Iterator[Any]:
    yield graph
    for node in graph.node:
        for attribute in node.attribute:
            if attribute.type == onnx.AttributeProto.GRAPH:
                yield from _graphs(attribute.g)


class _Weights:
    """The weights of a network, packed once however often they are used."""

    def __init__(self, graph: Any, *, whole_sums: bool) -> None:
        self._found = {one.name: one for one in graph.initializer}
        self._whole_sums = whole_sums
        self._settings: dict[str, dict[str, int]] = {}
        self.made: list[Any] = []

    def multiply(self, node: Any, weight: str, *, across: bool) -> None:
        """Turn the node into a product with the packed weight, whose rows are its outputs when `across`."""
        name = f"{weight}_packed"
        if name not in self._settings:
            self._settings[name] = self._pack(weight, name, across=across)
        node.op_type, node.domain = WHOLE_SUMS if self._whole_sums else BLOCK_SUMS, _DOMAIN
        sound = node.input[0]
        del node.input[:]
        node.input.extend([sound, name, f"{name}_scales", f"{name}_zeros"])
        node.attribute.extend(helper.make_attribute(key, value) for key, value in self._settings[name].items())

    def _pack(self, weight: str, name: str, *, across: bool) -> dict[str, int]:
        """Add the weight as the kind of product takes it; return the settings of the product."""
        scale, offset = (float(self._array(f"{weight}_{what}").ravel()[0]) for what in ("scale", "zero_point"))
        zero = round(-offset / scale)
        if abs(zero + offset / scale) > 0.01:
            message = f"the weight {weight} is not of the kind expected"
            raise ValueError(message)
        signed = self._array(f"{weight}_quantized")
        if self._whole_sums:
            self._add(name, np.ascontiguousarray(signed.T if across else signed), np.float32(scale), np.int8(zero))
            return {}
        matrix = (signed if across else signed.T).astype(np.int16) + _OFFSET
        outputs, inputs = matrix.shape
        block = next(size for size in _BLOCKS if not inputs % size)
        blocks = inputs // block
        values = np.ascontiguousarray(matrix.astype(np.uint8).reshape(outputs, blocks, block))
        marks = np.full(outputs * blocks, scale, np.float32), np.full(outputs * blocks, zero + _OFFSET, np.uint8)
        self._add(name, values, *marks)
        return {"K": inputs, "N": outputs, "bits": 8, "block_size": block, "accuracy_level": _EIGHT_BIT}

    def _add(self, name: str, values: Any, scales: Any, zeros: Any) -> None:
        named = ((name, values), (f"{name}_scales", scales), (f"{name}_zeros", zeros))
        self.made += [numpy_helper.from_array(np.asarray(array), key) for key, array in named]

    def _array(self, name: str) -> Any:
        return numpy_helper.to_array(self._found[name])


def _drop_unused(graph: Any) -> None:
    """Leave out what nothing asks for any more: the chains that made floats, and their weights."""
    while True:
        used = {one.name for one in graph.output} | {name for node in graph.node for name in node.input}
        idle = [node for node in graph.node if not used.intersection(node.output)]
        if not idle:
            break
        for node in idle:
            graph.node.remove(node)
    kept = [one for one in graph.initializer if one.name in used]
    del graph.initializer[:]
    graph.initializer.extend(kept)


if __name__ == "__main__":
    made(*map(Path, sys.argv[1:4]), whole_sums=sys.argv[4] == WHOLE)
