"""Makes the disk that fails and the small visits importable."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "office" / "support"))
