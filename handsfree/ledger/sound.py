"""Sound as it is kept: one channel of 16-bit samples, FLAC, nothing lost."""

from __future__ import annotations

import io
import secrets

import numpy as np
import soundfile
from numpy.typing import NDArray


def flac(samples: NDArray[np.int16], rate: int) -> bytes:
    """Return the FLAC file of one channel of 16-bit samples at `rate` hertz."""
    if samples.dtype != np.int16 or samples.ndim != 1:
        raise TypeError(f"sound is one channel of 16-bit samples, not {samples.ndim} of {samples.dtype}")
    file = io.BytesIO()
    soundfile.write(file, samples, rate, format="FLAC", subtype="PCM_16")
    return _salted(file.getvalue())


_SALT = b"salt"
_LAST, _APPLICATION = 0x80, 2


def _salted(file: bytes) -> bytes:
    """Return a FLAC file with 32 random bytes in a block of its own after the first (RFC 9639, section 8.4).

    Its name, the SHA-256 of its bytes, is then a salted commitment to the voice.
    """
    after_first = 8 + int.from_bytes(file[5:8])
    data = _SALT + secrets.token_bytes(32)
    block = bytes([_APPLICATION | file[4] & _LAST]) + len(data).to_bytes(3) + data
    return file[:4] + bytes([file[4] & ~_LAST & 0xFF]) + file[5:after_first] + block + file[after_first:]
