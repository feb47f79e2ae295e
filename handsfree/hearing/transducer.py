"""A weighted finite-state transducer under construction, and its bytes on disk.

Only what decoding graphs need: arcs are collected in plain lists and written as an OpenFst `const`
transducer over the tropical semiring, which the recogniser maps into memory as it is. The layout is that
of OpenFst's own reader (`fst.h`, `const-fst.h`): a header, one record a state, one record an arc.
"""

from __future__ import annotations

import struct
from typing import Literal

import numpy as np

EPSILON = 0

_MAGIC = 2125659606
_CONST_VERSION = 2  # states and arcs follow the header without padding
_EXPANDED = 0x1
_SORTED_BY = {"input": 0x10000000, "output": 0x40000000}

_STATE = np.dtype([("final", "<f4"), ("first", "<u4"), ("arcs", "<u4"), ("in_eps", "<u4"), ("out_eps", "<u4")])
_ARC = np.dtype([("input", "<i4"), ("output", "<i4"), ("cost", "<f4"), ("target", "<i4")])


class Transducer:
    """States are numbered from 0 as they are added; state 0 is the start. Costs are negative logs."""

    def __init__(self) -> None:
        self._arcs: list[tuple[int, int, int, float, int]] = []
        self._finals: dict[int, float] = {}
        self._size = 0

    def state(self, final: float | None = None) -> int:
        """Add a state, final at the given cost unless that is None, and return its number."""
        if final is not None:
            self._finals[self._size] = final
        self._size += 1
        return self._size - 1

    def arc(
        self, source: int, target: int, *, read: int = EPSILON, write: int = EPSILON, cost: float = 0.0
    ) -> None:
        """Add an arc that reads one input label and writes one output label; 0 is nothing."""
        self._arcs.append((source, read, write, cost, target))

    def to_bytes(self, sort: Literal["input", "output"]) -> bytes:
        """Return the file, the arcs of each state sorted by their input or output label."""
        arcs = np.array(
            self._arcs,
            dtype=[("source", "<i4"), ("input", "<i4"), ("output", "<i4"), ("cost", "<f4"), ("target", "<i4")],
        )
        arcs = arcs[np.lexsort((arcs[sort], arcs["source"]))]
        states = np.zeros(self._size, dtype=_STATE)
        states["final"] = np.inf
        states["final"][list(self._finals)] = list(self._finals.values())
        states["arcs"] = np.bincount(arcs["source"], minlength=self._size)
        states["first"] = np.cumsum(states["arcs"]) - states["arcs"]
        states["in_eps"] = np.bincount(arcs["source"][arcs["input"] == EPSILON], minlength=self._size)
        states["out_eps"] = np.bincount(arcs["source"][arcs["output"] == EPSILON], minlength=self._size)
        body = np.zeros(len(arcs), dtype=_ARC)
        for column in ("input", "output", "cost", "target"):
            body[column] = arcs[column]
        header = struct.pack("<i", _MAGIC) + _text("const") + _text("standard")
        header += struct.pack("<iiQqqq", _CONST_VERSION, 0, _EXPANDED | _SORTED_BY[sort], 0, self._size, len(arcs))
        return header + states.tobytes() + body.tobytes()


def _text(name: str) -> bytes:
    return struct.pack("<i", len(name)) + name.encode()
