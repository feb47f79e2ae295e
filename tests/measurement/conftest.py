"""Lets the simulations of tests/bench/arithmetic be run, small, as tests."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "bench" / "arithmetic"))
