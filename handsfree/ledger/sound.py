"""Sound as it is kept: one channel of 16-bit samples, FLAC, nothing lost."""

from __future__ import annotations

import io

import numpy as np
import soundfile
from numpy.typing import NDArray


def flac(samples: NDArray[np.int16], rate: int) -> bytes:
    """Return the FLAC file of one channel of 16-bit samples at `rate` hertz."""
    if samples.dtype != np.int16 or samples.ndim != 1:
        raise TypeError(f"sound is one channel of 16-bit samples, not {samples.ndim} of {samples.dtype}")
    file = io.BytesIO()
    soundfile.write(file, samples, rate, format="FLAC", subtype="PCM_16")
    return file.getvalue()
