"""Makes the support modules of this folder and the rehearsed visit of the session's tests importable."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "session" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parent / "support"))
