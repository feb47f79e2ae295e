"""Writes `am/final.mdl`: the sound units and the network, in the binary form that the recogniser reads.

The layout follows the readers of the Kaldi toolkit (`TransitionModel::Read`, `nnet3::Nnet::Read`,
`AmNnetSimple::Read`). In binary a token is its characters and a blank, a number is
its size in bytes and then its little-endian bytes.
"""

from __future__ import annotations

import io
import re
import struct
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from handsfree.hearing.units import Units
from models.training.compressed_matrix import Floats, values_of

__all__ = ["Floats", "Layer", "acoustic_model", "layers_of"]

FEATURES = 40
_HALF = 0.5
_FRAME = re.compile(r"Offset\([\w.]+, (-?\d+)\)|[\w.]+")
_SUM = r"component=(\w+)\.sum input=Sum\(.*, Scale\(([\d.]+), (\w+)(?:\.\w+)?\)\)"


@dataclass(frozen=True)
class Layer:
    """An affine step over frames at `offsets` of its input, then a rectifier, then what is added to it.

    `weights` is (outputs, offsets x inputs), all inputs of the first offset first; `bias` is (outputs,).
    With `skip` the output of that earlier layer, times `skip_scale`, is added after the rectifier.
    """

    name: str
    weights: Floats
    bias: Floats
    offsets: tuple[int, ...]
    rectified: bool
    skip: str | None = None
    skip_scale: float = 1.0


def acoustic_model(
    units: Units, layers: Sequence[Layer], priors: Floats, matrix: Callable[[Floats], bytes]
) -> bytes:
    """Return the file. The last layer's outputs are blank and the phones of `units`, before the softmax.

    `priors` (outputs,) are divided out of the probabilities when decoding; they need not sum to one. `matrix`
    writes the weights of a layer (see `compressed_matrix`).
    """
    out = io.BytesIO()
    out.write(b"\0B")
    _transitions(out, units)
    _network(out, layers, matrix)
    for token, side in (("<LeftContext>", -1), ("<RightContext>", 1)):  # the reader works them out again
        _token(out, token)
        _integer(out, sum(max(side * offset for offset in layer.offsets) for layer in layers))
    _token(out, "<Priors>")
    _vector(out, priors)
    return out.getvalue()


def layers_of(model: bytes) -> list[Layer]:
    """Return the layers of a file that `acoustic_model` wrote. ValueError when it did not."""
    described = model.partition(b"<Nnet3> \n")[2].partition(b"\n\n")[0].decode()
    if not described:
        raise ValueError("no network of ours")
    splices = dict(re.findall(r"component=(\w+) input=(.*)", described))
    sums = {name: (float(scale), earlier) for name, scale, earlier in re.findall(_SUM, described)}
    layers = []
    for found in re.finditer(rb"<ComponentName> (\w+) <AffineComponent> ", model):
        name = found.group(1).decode()
        file = io.BytesIO(model[model.index(b"<LinearParams> ", found.end()) + len(b"<LinearParams> ") :])
        weights = values_of(file)
        if file.read(len(b"<BiasParams> FV \4")) != b"<BiasParams> FV \4":
            raise ValueError(f"layer {name} has no bias")
        (length,) = struct.unpack("<i", file.read(4))
        bias = np.frombuffer(file.read(4 * length), "<f4")
        offsets = tuple(int(offset or 0) for offset in _FRAME.findall(splices[name].removeprefix("Append(")))
        scale, earlier = sums.get(name, (1.0, None))
        rectified = f"component={name}.rectified" in described
        layers.append(Layer(name, weights, bias, offsets, rectified, earlier, scale))
    return layers


def _transitions(out: io.BytesIO, units: Units) -> None:
    phones = range(1, len(units.names()) + 1)
    _token(out, "<TransitionModel>", "<Topology>")
    _integers(out, phones)
    _integers(out, [-1, *([0] * len(phones))])  # every phone has the first topology
    _integer(out, -1)  # says that entering and staying have outputs of their own
    _integer(out, 1)
    _integer(out, 2)
    for classes, moves in (((0, 1), ((0, _HALF), (1, _HALF))), ((-1, -1), ())):
        for number in classes:
            _integer(out, number)
        _integer(out, len(moves))
        for target, probability in moves:
            _integer(out, target)
            _float(out, probability)
    _token(out, "</Topology>", "<Tuples>")
    rows = units.outputs()
    _integer(out, len(rows))
    for phone, output in rows:
        for number in (phone, 0, output, 0):  # phone, its only state, entering, staying (always blank)
            _integer(out, number)
    _token(out, "</Tuples>", "<LogProbs>")
    _vector(out, np.array([0.0, *[np.log(_HALF)] * (2 * len(rows))], dtype=np.float32))
    _token(out, "</LogProbs>", "</TransitionModel>")


def _network(out: io.BytesIO, layers: Sequence[Layer], matrix: Callable[[Floats], bytes]) -> None:
    lines = [f"input-node name=input dim={FEATURES}"]
    components: list[tuple[str, bytes]] = []
    source = "input"
    sources = {"input": "input"}
    for layer in layers:
        frames = [source if offset == 0 else f"Offset({source}, {offset})" for offset in layer.offsets]
        spliced = frames[0] if len(frames) == 1 else f"Append({', '.join(frames)})"
        lines.append(f"component-node name={layer.name} component={layer.name} input={spliced}")
        components.append((layer.name, _affine(layer, matrix)))
        source = layer.name
        if layer.rectified:
            name = f"{layer.name}.rectified"
            lines.append(f"component-node name={name} component={name} input={source}")
            components.append((name, _plain("RectifiedLinearComponent", len(layer.bias))))
            source = name
        if layer.skip is not None:
            source = f"Sum({source}, Scale({layer.skip_scale}, {sources[layer.skip]}))"
            name = f"{layer.name}.sum"
            lines.append(f"component-node name={name} component={name} input={source}")
            components.append((name, _noop(len(layer.bias))))
            source = name
        sources[layer.name] = source
    lines.append(f"component-node name=log-softmax component=log-softmax input={source}")
    components.append(("log-softmax", _plain("LogSoftmaxComponent", len(layers[-1].bias))))
    lines.append("output-node name=output input=log-softmax objective=linear")
    _token(out, "<Nnet3>")
    out.write(("\n" + "\n".join(lines) + "\n\n").encode())
    _token(out, "<NumComponents>")
    _integer(out, len(components))
    for name, body in components:
        _token(out, "<ComponentName>", name)
        out.write(body)
    _token(out, "</Nnet3>")


def _affine(layer: Layer, matrix: Callable[[Floats], bytes]) -> bytes:
    out = io.BytesIO()
    _token(out, "<AffineComponent>", "<LearningRate>")
    _float(out, 0.001)
    _token(out, "<LinearParams>")
    out.write(matrix(layer.weights))
    _token(out, "<BiasParams>")
    _vector(out, layer.bias)
    _token(out, "</AffineComponent>")
    return out.getvalue()


def _plain(kind: str, dimension: int) -> bytes:
    out = io.BytesIO()
    _token(out, f"<{kind}>", "<Dim>")
    _integer(out, dimension)
    for statistic in ("<ValueAvg>", "<DerivAvg>"):
        _token(out, statistic)
        _vector(out, np.zeros(0, dtype=np.float32))
    _token(out, "<Count>")
    _float(out, 0.0)
    _token(out, f"</{kind}>")
    return out.getvalue()


def _noop(dimension: int) -> bytes:
    out = io.BytesIO()
    _token(out, "<NoOpComponent>", "<Dim>")
    _integer(out, dimension)
    _token(out, "<BackpropScale>")
    _float(out, 1.0)
    _token(out, "</NoOpComponent>")
    return out.getvalue()


def _token(out: io.BytesIO, *tokens: str) -> None:
    out.writelines(token.encode() + b" " for token in tokens)


def _integer(out: io.BytesIO, number: int) -> None:
    out.write(b"\4" + struct.pack("<i", number))


def _float(out: io.BytesIO, number: float) -> None:
    out.write(b"\4" + struct.pack("<f", number))


def _integers(out: io.BytesIO, numbers: Iterable[int]) -> None:
    listed = list(numbers)
    out.write(b"\4" + struct.pack(f"<{len(listed) + 1}i", len(listed), *listed))


def _vector(out: io.BytesIO, values: Floats) -> None:
    _token(out, "FV")
    _integer(out, len(values))
    out.write(np.ascontiguousarray(values, dtype="<f4").tobytes())
