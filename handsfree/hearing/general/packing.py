"""The networks of the general recogniser as they lie in their files, made quick.

The files hold weights in 8 bits, and turn all of them into floats again at every step: 150 ms for a single
piece of text, whatever is asked. Here each product with such a weight becomes one that multiplies by 8-bit blocks
itself (`MatMulNBits`): 8 ms, and a quarter of the memory. The values of the weights stay as they are.
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

_BLOCK: Final = 32
"""Weights that share a scale; theirs is one for the whole matrix, so any size does."""
_EIGHT_BIT: Final = 4
"""The library's word for sums in 8 bits."""
_OFFSET: Final = 128
_WHOLE: Final = "_add_tensor"
"""How the files name a weight that was turned into floats."""
_DOMAIN: Final = "com.microsoft"


def packed(file: Path) -> bytes:
    """Return the network of an .ort file in the library's other format, its weights kept in 8 bits.

    Raises ValueError when its weights are not of the kind expected.
    """
    model = _converted(file)
    graph = model.graph
    whole = {
        name: name.removesuffix(_WHOLE) for node in graph.node for name in node.output if name.endswith(_WHOLE)
    }
    graphs = list(_graphs(graph))
    turned = {
        node.output[0]: whole[node.input[0]]
        for each in graphs
        for node in each.node
        if node.op_type == "Transpose" and node.input[0] in whole
    }
    weights = _Weights(graph)
    for each in graphs:
        for node in each.node:
            if node.op_type == "MatMul" and node.input[1] in whole:
                weights.multiply(node, whole[node.input[1]], across=False)
            elif node.op_type == "MatMul" and node.input[1] in turned:
                weights.multiply(node, turned[node.input[1]], across=True)
        _gather_few(each, whole)
    graph.initializer.extend(weights.made)
    _drop_unused(graph, graphs)
    if not any(one.domain == _DOMAIN for one in model.opset_import):
        model.opset_import.append(helper.make_opsetid(_DOMAIN, 1))
    return bytes(model.SerializeToString())


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

    def __init__(self, graph: Any) -> None:
        self._found = {one.name: one for one in graph.initializer}
        self._shapes: dict[str, tuple[int, int]] = {}
        self.made: list[Any] = []

    def multiply(self, node: Any, weight: str, *, across: bool) -> None:
        """Turn the node into a product with the packed weight, whose rows are its outputs when `across`."""
        name = f"{weight}_packed"
        if name not in self._shapes:
            self._shapes[name] = self._pack(weight, name, across=across)
        outputs, inputs = self._shapes[name]
        node.op_type, node.domain = "MatMulNBits", _DOMAIN
        sound = node.input[0]
        del node.input[:]
        node.input.extend([sound, name, f"{name}_scales", f"{name}_zeros"])
        settings = {
            "K": inputs, "N": outputs, "bits": 8, "block_size": _BLOCK, "accuracy_level": _EIGHT_BIT,
        }  # fmt: skip
        node.attribute.extend(helper.make_attribute(key, value) for key, value in settings.items())

    def _pack(self, weight: str, name: str, *, across: bool) -> tuple[int, int]:
        scale, offset = (float(self._array(f"{weight}_{what}").ravel()[0]) for what in ("scale", "zero_point"))
        zero = _OFFSET - offset / scale
        signed = self._array(f"{weight}_quantized")
        matrix = (signed if across else signed.T).astype(np.int16) + _OFFSET
        outputs, inputs = matrix.shape
        if inputs % _BLOCK or abs(zero - round(zero)) > 0.01:
            message = f"the weight {weight} is not of the kind expected"
            raise ValueError(message)
        blocks = inputs // _BLOCK
        values = np.ascontiguousarray(matrix.astype(np.uint8).reshape(outputs, blocks, _BLOCK))
        self.made += [
            numpy_helper.from_array(values, name),
            numpy_helper.from_array(np.full(outputs * blocks, scale, np.float32), f"{name}_scales"),
            numpy_helper.from_array(np.full(outputs * blocks, round(zero), np.uint8), f"{name}_zeros"),
        ]
        return outputs, inputs

    def _array(self, name: str) -> Any:
        return numpy_helper.to_array(self._found[name])


def _gather_few(graph: Any, whole: dict[str, str]) -> None:
    """Turn only the rows that are looked up into floats, not the whole table."""
    if not any(node.op_type == "Gather" and node.input[0] in whole for node in graph.node):
        return  # the nodes below are new ones, and whoever holds a graph within an old one would lose it
    nodes = []
    for node in graph.node:
        nodes.append(onnx.NodeProto.FromString(node.SerializeToString()))
        if node.op_type == "Gather" and node.input[0] in whole:
            weight, result = whole[node.input[0]], node.output[0]
            nodes[-1].input[0], nodes[-1].output[0] = f"{weight}_quantized", f"{result}_eight"
            nodes += [
                helper.make_node("Cast", [f"{result}_eight"], [f"{result}_cast"], to=onnx.TensorProto.FLOAT),
                helper.make_node("Mul", [f"{result}_cast", f"{weight}_scale"], [f"{result}_scaled"]),
                helper.make_node("Add", [f"{result}_scaled", f"{weight}_zero_point"], [result]),
            ]
    del graph.node[:]
    graph.node.extend(nodes)


def _drop_unused(graph: Any, graphs: list[Any]) -> None:
    """Leave out what nothing asks for any more: the chains that made floats, and their weights."""
    while True:
        used = {one.name for each in graphs for one in each.output}
        used |= {name for each in graphs for node in each.node for name in node.input}
        dropped = 0
        for each in graphs:
            idle = [node for node in each.node if not used.intersection(node.output)]
            for node in idle:
                each.node.remove(node)
            dropped += len(idle)
        if not dropped:
            break
    kept = [one for one in graph.initializer if one.name in used]
    del graph.initializer[:]
    graph.initializer.extend(kept)


if __name__ == "__main__":
    Path(sys.argv[2]).write_bytes(packed(Path(sys.argv[1])))
