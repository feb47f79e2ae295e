"""The general recogniser's two networks: one takes the sound, one says how likely each next piece of text is."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import onnxruntime

from handsfree.hearing.freed_memory import give_back_memory
from handsfree.hearing.general.made_ready import LISTENING, TABLE, WRITING, made_ready
from handsfree.hearing.general.pieces import BEGIN
from handsfree.hearing.general.scoring import Floats, Progress, followed
from handsfree.hearing.resampling import RATE, Samples

_EDGE_S: Final = 0.3
"""Faint noise before and after: this network, too, was never taught words without a pause around them."""
_LOUDEST: Final = 0.5
_FAINT: Final = 1e-4
_UNSEEN: Final = np.float32(-1e9)


class GeneralNetwork:
    """Loads both networks: about 0.5 s, the first time on a device a few seconds more.

    Raises what `made_ready` does when the files hold something else.
    """

    def __init__(self, encoder: Path, decoder: Path, threads: int) -> None:
        folder = made_ready(encoder, decoder)
        self._listening, self._writing = (_session(folder / name, threads) for name in (LISTENING, WRITING))
        self._table = np.load(folder / TABLE, mmap_mode="r")
        give_back_memory()
        *self._sound, _ = [one.name for one in self._listening.get_outputs()]  # the last tells the phones
        self._past = [name.replace("sound.", "past.") for name in self._sound]
        _, heads, _, width = self._listening.get_outputs()[0].shape
        self._nothing = np.zeros((1, heads, 0, width), np.float32)

    def listen(self, samples: Samples) -> Progress:
        """Take a stretch of sound (int16, 16 kHz); return what may come first."""
        *sound, phones = self._listening.run(None, {"input_values": prepared(samples)})
        own = (self._nothing,) * len(sound)
        nothing = Progress(np.zeros((0, 0), np.float32), own, tuple(sound), np.zeros((0, 0), np.bool_), phones[0])
        return self.step(nothing, [-1], [BEGIN])

    def step(self, before: Progress, after: Sequence[int], pieces: Sequence[int]) -> Progress:
        """Return what may come after each of the pieces, each said after the one at a place of all so far."""
        seen = followed(before.seen, after)
        fresh = seen[-len(pieces) :]
        logits, *own = self._writing.run(
            None,
            {
                "embedded": self._table[list(pieces)].astype(np.float32)[None],
                "places": fresh.sum(axis=1)[None] - 1,
                "seen": np.where(fresh, np.float32(0), _UNSEEN)[None, None],
                **dict(zip(self._past, before.own, strict=True)),
                **dict(zip(self._sound, before.sound, strict=True)),
            },
        )
        return Progress(_log_softmax(logits), tuple(own), before.sound, seen, before.phones)


def _session(file: Path, threads: int) -> Any:
    options = onnxruntime.SessionOptions()
    options.log_severity_level = 3
    options.intra_op_num_threads = min(threads, os.cpu_count() or 1)
    options.enable_cpu_mem_arena = False  # it would keep the memory of the longest utterance for ever
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    return onnxruntime.InferenceSession(str(file), options, providers=["CPUExecutionProvider"])


def prepared(samples: Samples) -> Floats:
    """Return the sound as the network takes it: (1, samples), with edges, its loudest at a given level."""
    wave = samples.astype(np.float32)
    wave *= np.float32(_LOUDEST / max(1.0, float(np.abs(wave).max(initial=0.0))))
    edge = round(_EDGE_S * RATE)
    noise = np.random.default_rng(0).standard_normal((2, edge), dtype=np.float32) * np.float32(_FAINT)
    return np.concatenate([noise[0], wave, noise[1]])[None]


def _log_softmax(logits: Floats) -> Floats:
    """Return log probabilities, (rows, pieces)."""
    shifted = logits - logits.max(axis=-1, keepdims=True)
    return np.asarray(shifted - np.log(np.exp(shifted).sum(axis=-1, keepdims=True)), np.float32)
