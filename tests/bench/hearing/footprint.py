"""How heavy the ears are: `python -m tests.bench.hearing.footprint` prints start, switch, memory, both ways."""

from __future__ import annotations

import json
import time
from pathlib import Path
from statistics import median

import vosk

from handsfree.hearing.grammars import phrase_list
from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.recogniser import Recogniser
from tests.bench.hearing.material import ROOT, gates

MODEL = ROOT / "models" / "english"


def resident() -> float:
    """Return the memory of this process now, in megabytes."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * 4096 / 1e6


def main() -> None:
    """Measure and print."""
    grammars = gates()
    quiet = bytes(32_000)
    before = resident()
    begin = time.perf_counter()
    ears = Recogniser(MODEL)
    print(f"start, checksums included: {1000 * (time.perf_counter() - begin):.0f} ms")
    fresh, again = [], []
    for _ in range(5):
        fresh_ears = Recogniser(MODEL)
        for grammar in grammars.values():
            begin = time.perf_counter()
            fresh_ears.listen_for(grammar)
            fresh.append(time.perf_counter() - begin)
            begin = time.perf_counter()
            fresh_ears.listen_for(grammar)
            again.append(time.perf_counter() - begin)
    del fresh_ears
    print(
        f"strict: a new grammar {1000 * median(fresh):.0f} ms, one of the last two {1000 * median(again):.1f} ms"
    )
    for grammar in grammars.values():
        ears.recognise(quiet, grammar)
    print(f"strict: {resident() - before:.0f} MB more with two grammars in use")
    before = resident()
    vosk.SetLogLevel(-1)
    model = vosk.Model(str(MODEL))
    took = []
    for grammar in grammars.values():
        listed = [text for text in phrase_list(grammar) if UNKNOWN not in text]
        begin = time.perf_counter()
        native = vosk.KaldiRecognizer(model, 16_000, json.dumps([*listed, UNKNOWN]))
        took.append(time.perf_counter() - begin)
        native.AcceptWaveform(quiet)
        native.FinalResult()
    print(
        f"phrase lists: a new one {1000 * median(took):.0f} ms; {resident() - before:.0f} MB more with two in use"
    )


if __name__ == "__main__":
    main()
