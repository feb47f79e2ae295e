"""Matrices in few bits, as the recogniser reads them (`CompressedMatrix::Read` of the Kaldi toolkit)."""

from __future__ import annotations

import struct
from typing import BinaryIO, Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

_MOST: Final = 65535
_BYTES_AT_MARKS: Final = np.array([0, 64, 192, 255])


def sixteen_bits(values: Floats) -> bytes:
    """Return (rows, columns) as 16-bit steps from the least to the greatest value: an error below 1 in 130,000."""
    least, reach = _extent(values)
    steps = np.rint((np.asarray(values, dtype=np.float64) - least) * (_MOST / reach))
    return _head("CM2", values, least, reach) + np.clip(steps, 0, _MOST).astype("<u2").tobytes()


def eight_bits(values: Floats) -> bytes:
    """Return (rows, columns) as one byte a value: half the size again.

    Each column has four marks, at its least value, its quartiles and its greatest value, in 16-bit steps
    over the reach of the whole matrix. A byte counts 64 steps from the first mark to the second, 128 to the
    third and 63 to the last, so values in the middle are kept to about a hundredth of their spread.
    """
    least, reach = _extent(values)
    marks = _marks(values, least, reach)
    places = least + marks * (reach / _MOST)
    steps = [
        np.rint(np.interp(column, at, _BYTES_AT_MARKS)) for column, at in zip(values.T, places.T, strict=True)
    ]
    head = _head("CM", values, least, reach)
    return head + marks.T.astype("<u2").tobytes() + np.array(steps, dtype=np.uint8).tobytes()


def values_of(file: BinaryIO) -> Floats:
    """Read a matrix back, (rows, columns), from where its token begins. ValueError when none begins there."""
    token = file.read(3).rstrip()
    if token == b"CM2":
        file.read(1)
    elif token != b"CM":
        raise ValueError(f"no compressed matrix but {token!r}")
    least, reach, rows, columns = struct.unpack("<ffii", file.read(16))
    if token == b"CM2":
        steps = np.frombuffer(file.read(2 * rows * columns), "<u2").reshape(rows, columns)
        return (least + steps * (reach / _MOST)).astype(np.float32)
    marks = np.frombuffer(file.read(8 * columns), "<u2").reshape(columns, 4)
    steps = np.frombuffer(file.read(rows * columns), np.uint8).reshape(columns, rows)
    places = least + marks * (reach / _MOST)
    read = [np.interp(column, _BYTES_AT_MARKS, at) for column, at in zip(steps, places, strict=True)]
    return np.array(read, dtype=np.float32).T


def _extent(values: Floats) -> tuple[float, float]:
    least = float(values.min())
    return least, max(float(values.max()) - least, 1e-9)


def _head(token: str, values: Floats, least: float, reach: float) -> bytes:
    return token.encode() + b" " + struct.pack("<ffii", least, reach, *values.shape)


def _marks(values: Floats, least: float, reach: float) -> npt.NDArray[np.int64]:
    """Return the marks of each column (4, columns), rising: two at one place would make a byte mean nothing."""
    quartiles = np.quantile(np.asarray(values, dtype=np.float64), (0, 0.25, 0.75, 1), axis=0)
    marks = np.rint((quartiles - least) * (_MOST / reach)).astype(np.int64)
    marks[0] = np.minimum(marks[0], _MOST - 3)
    for above in (1, 2, 3):
        marks[above] = np.clip(marks[above], marks[above - 1] + 1, _MOST - 3 + above)
    return marks
