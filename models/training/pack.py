"""Make blocks small for taking them to another machine: `python -m models.training.pack FROM TO [NAME...]`.

Every block FROM/*.flac becomes TO/*.opus, a tenth of the size. With names only blocks that begin with one.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from models.training.sound_store import read_block, write_block


def main() -> None:
    """Read the command line and pack."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("source", type=Path)
    parser.add_argument("target", type=Path)
    parser.add_argument("names", nargs="*", default=[""])
    given = parser.parse_args()
    total = 0
    for block in sorted(given.source.glob("*.flac")):
        packed = given.target / f"{block.stem}.opus"
        if block.name.startswith(tuple(given.names)):
            if not packed.exists():
                write_block(packed, list(read_block(block)))
            total += packed.stat().st_size
    print(f"{given.target}: {total / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
