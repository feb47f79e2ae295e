"""Which phones there are in what the general recogniser's listening network makes of the sound.

The network that writes has habits of its own: in noise it prefers short phrases, and it rejects voices that it
finds odd. What the one that listens makes of the sound knows nothing of words. So a small network of ours
(`phones.npz`, made by `models/training`) was taught by people's recordings to tell the phones from that: for each
frame the probability of each phone, or of none. How likely the phones of a sentence are, and no others, is the sum
over all ways to spread them over the frames (connectionist temporal classification, A. Graves et al., ICML 2006).
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Sequence
from functools import cache
from importlib import resources
from itertools import islice, product
from typing import Final

import numpy as np

from handsfree.hearing.general.scoring import Floats, summed
from handsfree.lexicon.pronunciation import PHONES, Phones, Pronunciations

SURELY: Final = -0.01
"""The log probability of no phone from which on a frame surely holds none."""
MOST_WAYS: Final = 24
"""So many ways to say a sentence are summed, each word's commonest first."""

_NUMBER: Final = {phone: number for number, phone in enumerate(PHONES, start=1)}
_FILE: Final = "phones.npz"


@cache
def content() -> bytes:
    """Return the network's file as it is shipped."""
    return resources.files("handsfree.hearing.general").joinpath(_FILE).read_bytes()


@cache
def identity() -> str:
    """Return a short name for exactly these weights; it stands in the record."""
    return hashlib.sha256(content()).hexdigest()[:12]


def ways(words: Sequence[str], pronunciations: Pronunciations) -> tuple[tuple[int, ...], ...]:
    """Return the ways to say a sentence, each as the numbers of its phones; none where a word has no known one."""
    each = [pronunciations.of(word) for word in words]
    return tuple(
        tuple(number for word in said for number in numbers(word)) for said in islice(product(*each), MOST_WAYS)
    )


def numbers(said: Phones) -> tuple[int, ...]:
    """Return the places of phones in a frame of the network's result."""
    return tuple(_NUMBER[phone] for phone in said)


def pressed(logs: Floats) -> Floats:
    """Return the frames (frames, phones) without those of surely no phone that follow another such.

    Six in seven are, so that a search takes a sixth of the time; of 222 it found the same sentence in 221. The
    likelihood of a sentence needs them: without room its phones are less likely than they are.
    """
    silent = logs[:, 0] > SURELY
    kept = ~silent
    kept[:1] = True
    kept[1:] |= ~silent[:-1]
    return logs[kept]


def anything(logs: Floats) -> float:
    """Return the log likelihood of the likeliest spread of any phones over the frames, of (frames, phones)."""
    return float(logs.max(axis=1).sum())


def likelihoods(logs: Floats, sentences: Sequence[Sequence[tuple[int, ...]]]) -> list[float]:
    """Return the log likelihood of each sentence, said in any of its ways: just its phones, in their order.

    `logs` are the log probabilities of no phone and of each phone, (frames, phones); minus infinity for a sentence
    that nobody could say in so few frames.
    """
    rows = [way for ways_of in sentences for way in ways_of]
    found = iter(_spread(logs, rows)) if rows and len(logs) else iter([-math.inf] * len(rows))
    return [summed([next(found) for _ in ways_of]) for ways_of in sentences]


def _spread(logs: Floats, rows: Sequence[tuple[int, ...]]) -> Iterator[float]:
    """Yield the log likelihood of each row of phones: none may stand between two, and must between two alike."""
    longest = 2 * max(map(len, rows)) + 1
    labels = np.zeros((len(rows), longest), np.int64)
    for labelled, row in zip(labels, rows, strict=True):
        labelled[1 : 2 * len(row) : 2] = row
    leap = np.zeros_like(labels, np.float64)
    leap[:, 2:] = (labels[:, 2:] != 0) & (labels[:, 2:] != labels[:, :-2])
    chances = np.exp(logs.astype(np.float64))
    held = chances[0][labels]
    held[:, 2:] = 0
    scale = np.zeros(len(rows))
    for chance in chances[1:]:
        moved = held.copy()
        moved[:, 1:] += held[:, :-1]
        moved[:, 2:] += held[:, :-2] * leap[:, 2:]
        held = moved * chance[labels]
        total = np.maximum(held.sum(axis=1), np.finfo(np.float64).tiny)
        held /= total[:, None]
        scale += np.log(total)
    for row, last, log in zip(rows, held, scale, strict=True):
        ended = float(last[2 * len(row) - 1 : 2 * len(row) + 1].sum())
        yield math.log(ended) + float(log) if ended > 0 else -math.inf
