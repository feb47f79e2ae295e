"""Lets the tests of this folder import the rehearsed visit and what they share."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
for folder in (HERE / "support", HERE.parent / "session" / "support"):
    sys.path.insert(0, str(folder))
