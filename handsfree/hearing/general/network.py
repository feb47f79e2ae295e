"""The general recogniser's two networks: one takes the sound, one says how likely each next piece of text is."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import onnxruntime

from handsfree.hearing.general.made_ready import give_back_memory, made_ready
from handsfree.hearing.general.pieces import BEGIN
from handsfree.hearing.general.scoring import Floats, Progress
from handsfree.hearing.resampling import RATE, Samples

_EDGE_S: Final = 0.3
"""Faint noise before and after: this network, too, was never taught words without a pause around them."""
_LOUDEST: Final = 0.5
_FAINT: Final = 1e-4
_LAYERS: Final = 8
_HEADS: Final = 8
_WIDTH: Final = 52


class GeneralNetwork:
    """Loads both networks: about 0.5 s and 140 MB, the first time on a device a few seconds more.

    Raises what `made_ready` does when the files hold something else.
    """

    def __init__(self, encoder: Path, decoder: Path, threads: int) -> None:
        self._encoder, self._decoder = (_session(made_ready(file), threads) for file in (encoder, decoder))
        give_back_memory()
        self._names = [
            f"past_key_values.{layer}.{part}.{kind}"
            for layer in range(_LAYERS)
            for part in ("decoder", "encoder")
            for kind in ("key", "value")
        ]

    def listen(self, samples: Samples) -> Progress:
        """Take a stretch of sound (int16, 16 kHz); return what may come first."""
        (states,) = self._encoder.run(None, {"input_values": _prepared(samples)})
        nothing = {name: np.zeros((0, _HEADS, 1, _WIDTH), np.float32) for name in self._names}
        return self._run([BEGIN], states, nothing, None)

    def step(self, before: Progress, rows: Sequence[int], pieces: Sequence[int]) -> Progress:
        """Return what may come after each of the pieces, said after the prefix of its row."""
        place = np.asarray(rows)
        own, sound = iter(before.own), iter(before.sound)
        past = {name: next(sound) if ".encoder." in name else next(own)[place] for name in self._names}
        return self._run(pieces, before.states, past, before.sound)

    def _run(
        self, pieces: Sequence[int], states: Floats, past: dict[str, Floats], sound: tuple[Floats, ...] | None
    ) -> Progress:
        logits, *present = self._decoder.run(
            None,
            {
                "input_ids": np.asarray(pieces, np.int64)[:, None],
                "encoder_hidden_states": states,
                "use_cache_branch": np.array([sound is not None]),
                **past,
            },
        )
        named = list(zip(self._names, present, strict=True))
        return Progress(
            _log_softmax(logits[:, -1]),
            tuple(value for name, value in named if ".decoder." in name),
            sound or tuple(value for name, value in named if ".encoder." in name),
            states,
        )


def _session(file: Path, threads: int) -> Any:
    options = onnxruntime.SessionOptions()
    options.log_severity_level = 3
    options.intra_op_num_threads = min(threads, os.cpu_count() or 1)
    options.enable_cpu_mem_arena = False  # it would keep the memory of the longest utterance for ever
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    return onnxruntime.InferenceSession(str(file), options, providers=["CPUExecutionProvider"])


def _prepared(samples: Samples) -> Floats:
    """Return the sound as the network takes it: (1, samples), with edges, its loudest at a given level."""
    wave = samples.astype(np.float32)
    wave *= np.float32(_LOUDEST / max(1.0, float(np.abs(wave).max(initial=0.0))))
    edge = round(_EDGE_S * RATE)
    noise = np.random.default_rng(0).standard_normal((2, edge), dtype=np.float32) * np.float32(_FAINT)
    return np.concatenate([noise[0], wave, noise[1]])[None]


def _log_softmax(logits: Floats) -> Floats:
    """Return log probabilities, (rows, pieces)."""
    top = logits.max(axis=-1, keepdims=True)
    shifted = logits - top
    return np.asarray(shifted - np.log(np.exp(shifted).sum(axis=-1, keepdims=True)), np.float32)
