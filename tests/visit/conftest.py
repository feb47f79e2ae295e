"""Lets the tests of this folder import the rehearsed visit and the recorded one."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "session" / "support"))
