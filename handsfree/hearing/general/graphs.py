"""The networks of the general recogniser drawn anew, out of the same weights.

As it lies in its files the one that writes carries each text along by itself, with all that it keeps of the sound
copied at every piece. Here what is written is one tree: a piece looks at those that it follows (`seen`) and at
the sound, so that all pieces asked about go through each layer together, whatever texts they belong to. What the
layers keep of the sound is worked out once, by the network that listens.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

from handsfree.hearing.general import phone_graph

LAYERS: Final = 8
HEADS: Final = 8
WIDTH: Final = 52
KEPT: Final = tuple(f"{layer}.{kind}" for layer in range(LAYERS) for kind in ("key", "value"))
"""What the layers keep, of the sound and of each piece, in the order in which it comes out."""

BLOCK_SUMS, WHOLE_SUMS = "MatMulNBits", "DynamicQuantizeMatMul"
"""The two kinds of product with a weight in 8 bits."""

_TURNED: Final = 32
"""So many numbers of each head are turned by the place of the piece."""
_FURTHEST: Final = 256
"""More places than any text has."""
_EPSILON: Final = 1e-5
_OPSET: Final = 17
"""The first version of the library's operations that brings a sum to an even level."""
_DOMAIN: Final = "com.microsoft"
_TABLE: Final = "model.decoder.embed_tokens.weight_merged_0"
_FREQUENCIES: Final = "/model/decoder/rotary_emb/Cast_1_output_0"
_FLOAT: Final = TensorProto.FLOAT


def listening(encoder: Any, decoder: Any) -> Any:
    """Return the network that takes sound: the encoder's, what the decoder's layers keep of it, and phones.

    Both are models with packed weights; the first is changed.
    """
    drawn, (states,) = _Drawn(decoder), [one.name for one in encoder.graph.output]
    drawn.constant("heads", np.array([0, 0, HEADS, WIDTH]))
    for name in KEPT:
        layer, kind = name.split(".")
        path = f"/model/decoder/layers.{layer}/encoder_attn/{kind[0]}_proj/MatMul_output_0"
        flat = drawn.node("Reshape", [drawn.product(states, path), "heads"])
        drawn.node("Transpose", [flat], f"sound.{name}", perm=[0, 2, 1, 3])
    nodes, weights = phone_graph.drawn(states)
    encoder.graph.node.extend([*drawn.nodes, *nodes])
    encoder.graph.initializer.extend([*drawn.used.values(), *weights])
    del encoder.graph.output[:]
    heard = helper.make_tensor_value_info(phone_graph.OUTPUT, _FLOAT, [1, "frames", "phones"])
    encoder.graph.output.extend([*_kept("sound", "frames"), heard])
    (opset,) = (one for one in encoder.opset_import if not one.domain)
    opset.version = max(opset.version, _OPSET)
    return encoder


def writing(decoder: Any) -> Any:
    """Return the network that says what may be written next, of a model with packed weights.

    In: `embedded` (1, pieces, 416), rows of the table; the `places` of the pieces in their texts (1, pieces);
    `seen` (1, 1, pieces, all pieces), 0 where a piece follows another or is it, else far below; what was kept of
    the pieces before and of the sound. Out: `logits` (pieces, 32768) and what is kept now.
    """
    drawn = _Drawn(decoder)
    frequencies = drawn.values(_FREQUENCIES).ravel()
    angles = np.arange(_FURTHEST)[:, None] * frequencies[None]
    drawn.constant("cosines", np.cos(angles).astype(np.float32))
    drawn.constant("sines", np.sin(angles).astype(np.float32))
    drawn.constant("flat", np.array([-1, drawn.values(f"{_TABLE}_quantized").shape[0]]))
    scaled = drawn.node("Mul", ["embedded", drawn.weight(f"{_TABLE}_scale")])
    now = drawn.node("Add", [scaled, drawn.weight(f"{_TABLE}_zero_point")])
    level = drawn.node("LayerNormalization", [now, drawn.weight("layers.0.input_layernorm")], epsilon=_EPSILON)
    for layer in range(LAYERS):
        last = layer == LAYERS - 1
        told = drawn.own_attention(level, layer)
        now, level = drawn.added(told, now, f"layers.{layer}.post_attention_layernorm")
        told = drawn.sound_attention(level, layer)
        now, level = drawn.added(told, now, f"layers.{layer}.final_layernorm")
        told = drawn.thought(level, layer)
        now, level = drawn.added(told, now, "norm" if last else f"layers.{layer + 1}.input_layernorm")
    drawn.node("Reshape", [drawn.product(level, "logits"), "flat"], "logits")
    inputs = [
        helper.make_tensor_value_info("embedded", _FLOAT, [1, "pieces", HEADS * WIDTH]),
        helper.make_tensor_value_info("places", TensorProto.INT64, [1, "pieces"]),
        helper.make_tensor_value_info("seen", _FLOAT, [1, 1, "pieces", "all"]),
        *_kept("past", "before"),
        *_kept("sound", "frames"),
    ]
    outputs = [helper.make_tensor_value_info("logits", _FLOAT, ["pieces", "list"]), *_kept("own", "all")]
    graph = helper.make_graph(drawn.nodes, "writing", inputs, outputs, list(drawn.used.values()))
    imports = [helper.make_opsetid("", _OPSET), helper.make_opsetid(_DOMAIN, 1)]
    return helper.make_model(graph, opset_imports=imports, ir_version=9)


def table(decoder: Any) -> np.ndarray[Any, np.dtype[np.int8]]:
    """Return what each piece is to the network, (32768, 416): its rows are looked up outside."""
    return _Drawn(decoder).values(f"{_TABLE}_quantized")


def _kept(whose: str, length: str) -> list[Any]:
    return [helper.make_tensor_value_info(f"{whose}.{name}", _FLOAT, [1, HEADS, length, WIDTH]) for name in KEPT]


class _Drawn:
    """Nodes that were drawn, and the weights of a model that they use."""

    def __init__(self, model: Any) -> None:
        self.nodes: list[Any] = []
        self.used: dict[str, Any] = {}
        self._weights = {one.name: one for one in model.graph.initializer}
        branches = [each.g for node in model.graph.node for each in node.attribute if each.HasField("g")]
        self._products = {
            node.output[0]: node
            for graph in branches
            for node in graph.node
            if node.op_type in {BLOCK_SUMS, WHOLE_SUMS}
        }

    def values(self, name: str) -> np.ndarray[Any, Any]:
        """Return the numbers of a weight."""
        return np.asarray(numpy_helper.to_array(self._weights[name]))

    def constant(self, name: str, values: np.ndarray[Any, Any]) -> None:
        """Add a weight."""
        self.used[name] = numpy_helper.from_array(values, name)

    def weight(self, name: str) -> str:
        """Return the name of a weight of the model, which is used from now on."""
        name = name if name in self._weights else f"model.decoder.{name}.weight_merged_0"
        self.used[name] = self._weights[name]
        return name

    def node(self, kind: str, inputs: list[str], output: str = "", *, domain: str = "", **settings: Any) -> str:
        """Draw a node with one output that matters; return its name."""
        return self.nodes_of(kind, inputs, [output or f"drawn.{len(self.nodes)}"], domain=domain, **settings)[0]

    def nodes_of(
        self, kind: str, inputs: list[str], outputs: list[str], *, domain: str = _DOMAIN, **settings: Any
    ) -> list[str]:
        """Draw a node with given outputs."""
        self.nodes.append(helper.make_node(kind, inputs, outputs, domain=domain, **settings))
        return outputs

    def product(self, sound: str, path: str, bias: str = "") -> str:
        """Draw the product with the packed weight that stands at a path of the model."""
        found = self._products[path]
        inputs = [sound, *(self.weight(name) for name in found.input[1:])]
        settings = {one.name: onnx.helper.get_attribute_value(one) for one in found.attribute}
        if bias:
            inputs += [*([""] if found.op_type == BLOCK_SUMS else []), self.weight(bias)]
        return self.node(found.op_type, inputs, domain=_DOMAIN, **settings)

    def added(self, told: str, now: str, norm: str) -> tuple[str, str]:
        """Draw the sum of what a part told and what came into it; return the sum, and the sum at even level."""
        names = [f"drawn.{len(self.nodes)}", "", "", f"drawn.{len(self.nodes)}.sum"]
        inputs = [told, now, self.weight(norm)]
        level, *_, total = self.nodes_of("SkipLayerNormalization", inputs, names, epsilon=_EPSILON)
        return total, level

    def own_attention(self, level: str, layer: int) -> str:
        """Draw how a piece looks at those that it follows."""
        path = f"/model/decoder/layers.{layer}/self_attn"
        query, key, value = (self.product(level, f"{path}/{one}_proj/MatMul_output_0") for one in "qkv")
        query, key = (
            self.node(
                "RotaryEmbedding",
                [each, "places", "cosines", "sines"],
                domain=_DOMAIN,
                interleaved=1,
                num_heads=HEADS,
                rotary_embedding_dim=_TURNED,
            )
            for each in (query, key)
        )
        past = [f"past.{layer}.key", f"past.{layer}.value"]
        outputs = [f"drawn.{len(self.nodes)}", f"own.{layer}.key", f"own.{layer}.value"]
        inputs = [query, key, value, "", "", "seen", *past]
        told, *_ = self.nodes_of("MultiHeadAttention", inputs, outputs, num_heads=HEADS)
        return self.product(told, f"{path}/dense/MatMul_output_0")

    def sound_attention(self, level: str, layer: int) -> str:
        """Draw how a piece looks at the sound."""
        path = f"/model/decoder/layers.{layer}/encoder_attn"
        inputs = [self.product(level, f"{path}/q_proj/MatMul_output_0")]
        inputs += [f"sound.{layer}.key", f"sound.{layer}.value"]
        told = self.node("MultiHeadAttention", inputs, domain=_DOMAIN, num_heads=HEADS)
        return self.product(told, f"{path}/dense/MatMul_output_0")

    def thought(self, level: str, layer: int) -> str:
        """Draw what a layer makes of it all: wide, gated, narrow again."""
        path, biases = f"/model/decoder/layers.{layer}/mlp", f"model.decoder.layers.{layer}.mlp"
        wide = self.product(level, f"{path}/up_proj/MatMul_output_0", f"{biases}.up_proj.bias_merged_0")
        names = [f"{wide}.made", f"{wide}.gate"]
        made, gate = self.nodes_of("Split", [wide], names, domain="", axis=-1)
        opened = self.node("QuickGelu", [gate], domain=_DOMAIN, alpha=1.0)
        narrow = self.node("Mul", [opened, made])
        return self.product(narrow, f"{path}/down_proj/MatMul_output_0", f"{biases}.down_proj.bias_merged_0")
