"""Turn a trained network into a model folder: `python -m models.training.export NET.pt FOLDER`.

Writes am/, conf/, graph/ and the list of checksums. The graphs of the folder serve phrase lists given at
run time; strict grammars are compiled by the product itself and need only the units and the settings.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import torch

from handsfree.hearing.graph import Tuning, loop_graph
from handsfree.hearing.model_folder import SUMS, ModelFolder
from handsfree.hearing.units import Units
from handsfree.lexicon.pronunciation import PHONES, Pronunciations
from models.training.acoustic_model import Layer, acoustic_model, layers_of
from models.training.compressed_matrix import eight_bits, sixteen_bits
from models.training.features import RATE
from models.training.network import Network

FBANK = """\
--sample-frequency=16000
--num-mel-bins=40
--low-freq=20
--high-freq=-400
--use-energy=false
--energy-floor=0.0
--dither=0.0
--allow-upsample=true
"""
DECODING = """\
--min-active=200
--max-active=3000
--beam=14.0
--lattice-beam=8.0
--acoustic-scale=1.0
--frame-subsampling-factor=3
--endpoint.silence-phones=1
"""


_NAMES = ("final.mdl", "second.mdl", "third.mdl")
_MATRICES = {8: eight_bits, 16: sixteen_bits}


def export(
    nets: Sequence[Path], folder: Path, words: list[str], blank_prior: float, tuning: Tuning, bits: int = 16
) -> None:
    """Write the model folder; `blank_prior` is the log of how much more blank is discounted than phones.

    `nets` are the networks of `tuning.members`, in the order in which it names them first: trained ones (.pt), or
    those of a model that was written before (.mdl). `bits` (8 or 16) are what each weight is kept in.
    """
    names = list(dict.fromkeys(name for name, _ in tuning.members))
    units = Units(PHONES)
    layers = [_layers(net, units) for net in nets]
    priors = np.full(len(units.phones) + 1, np.exp(-blank_prior), dtype=np.float32)
    priors[0] = 1.0
    loop, choice, numbers = loop_graph(words, Pronunciations(), units, tuning)
    contents = {
        **{
            f"am/{name}": acoustic_model(units, one, priors, _MATRICES[bits])
            for name, one in zip(names, layers, strict=True)
        },
        "conf/fbank.conf": FBANK.encode(),
        "conf/model.conf": DECODING.encode(),
        "conf/listening.json": (json.dumps(_settings(tuning), indent=2) + "\n").encode(),
        "graph/HCLr.fst": loop.to_bytes(sort="output"),
        "graph/Gr.fst": choice.to_bytes(sort="input"),
        "graph/words.txt": numbers.text().encode(),
        "graph/disambig_tid.int": b"",
        "graph/phones.txt": units.phones_text().encode(),
        "graph/phones/word_boundary.int": units.boundaries_text().encode(),
    }
    for name, content in contents.items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    sums = "".join(
        f"{hashlib.sha256(content).hexdigest()}  {name}\n" for name, content in sorted(contents.items())
    )
    (folder / SUMS).write_text(sums, encoding="utf-8")
    print(f"{folder}: model {ModelFolder.check(folder).identity}, {sum(map(len, contents.values())) / 1e6:.1f} MB")


def _settings(tuning: Tuning) -> dict[str, Any]:
    """Return what `Tuning.of_model` reads; a model's file calls the members `opinions`."""
    return {"opinions" if name == "members" else name: value for name, value in asdict(tuning).items()}


def _layers(net: Path, units: Units) -> Sequence[Layer]:
    if net.suffix == ".mdl":
        layers = layers_of(net.read_bytes())
        if len(layers[-1].bias) != len(units.phones) + 1:
            raise ValueError(f"{net}: its outputs are not the phones of the dictionary")
        return layers
    checkpoint = torch.load(net, map_location="cpu", weights_only=True)
    if tuple(checkpoint["phones"]) != units.phones:
        raise ValueError(f"{net}: its outputs are not the phones of the dictionary")
    return Network.from_checkpoint(checkpoint).layers()


def main() -> None:
    """Read the command line and export."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "members",
        nargs="+",
        metavar="NET[@HZ]",
        help="trained networks (.pt) or those of a model (.mdl); HZ: the rate it takes sound to have",
    )
    parser.add_argument("folder", type=Path, help="where the model goes")
    parser.add_argument("--words", type=Path, default=Path(__file__).with_name("words.txt"))
    parser.add_argument("--blank-prior", type=float, default=3.0)
    parser.add_argument("--unknown-phone-cost", type=float, default=2.0)
    parser.add_argument("--unknown-cost", type=float, default=0.0)
    parser.add_argument("--word-cost", type=float, default=0.0)
    parser.add_argument("--score-scale", type=float, default=1.0)
    parser.add_argument("--base", type=float, default=0.0)
    parser.add_argument("--steepness", type=float, default=0.0)
    parser.add_argument("--bits", type=int, choices=sorted(_MATRICES), default=16, help="of each weight")
    given = parser.parse_args()
    members = [one.partition("@") for one in given.members]
    names = dict(zip(dict.fromkeys(net for net, _, _ in members), _NAMES, strict=False))
    tuning = Tuning(
        given.unknown_phone_cost,
        given.unknown_cost,
        given.word_cost,
        given.score_scale,
        given.base,
        given.steepness,
        tuple((names[net], int(rate or RATE)) for net, _, rate in members),
    )
    words = given.words.read_text(encoding="utf-8").split()
    export([Path(net) for net in names], given.folder, words, given.blank_prior, tuning, given.bits)


if __name__ == "__main__":
    main()
