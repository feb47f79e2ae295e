"""Let a synthetic voice say texts: `python -m models.training.speak ENGINE TEXTS SEED [--to FOLDER]`.

TEXTS is a file of one sentence a line (see `texts`); with `--share 3/16` only every sixteenth line from the
third is said, so that many can speak at once.
"""

from __future__ import annotations

import argparse
import random
import subprocess
from collections.abc import Sequence
from itertools import islice
from pathlib import Path

from models.training.sound_store import Utterance, trimmed, write_block
from models.training.voices import ENGINES

BLOCK = 25
DATA = Path(__file__).with_name("data")


def said(engine: str, sentences: Sequence[str], chance: random.Random) -> list[Utterance]:
    """Return the sentences as the engine says them, without those that it fails on."""
    utterances = []
    for sentence in sentences:
        words = tuple(sentence.split())
        try:
            samples, phones, speaker = ENGINES[engine](words, chance)
        except subprocess.CalledProcessError:
            continue
        samples = trimmed(samples)
        if len(samples) > 0:
            utterances.append(Utterance(samples, words, speaker, phones))
    return utterances


def main() -> None:
    """Read the command line and render block after block."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("engine", choices=sorted(ENGINES))
    parser.add_argument("texts", type=Path)
    parser.add_argument("seed", type=int)
    parser.add_argument("--share", default="0/1")
    parser.add_argument("--to", type=Path, default=DATA / "spoken")
    given = parser.parse_args()
    turn, of = map(int, given.share.split("/"))
    lines = given.texts.read_text(encoding="utf-8").splitlines()
    chance = random.Random(given.seed * 1000 + turn)
    mine = list(islice(lines, turn, None, of))
    for number, begin in enumerate(range(0, len(mine), BLOCK)):
        name = f"{given.engine}-{given.seed}-{turn:02d}-{number:03d}.flac"
        write_block(given.to / name, said(given.engine, mine[begin : begin + BLOCK], chance))
        print(f"{name} written", flush=True)


if __name__ == "__main__":
    main()
