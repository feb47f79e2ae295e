"""Makes the lists, the small visits and the disk that fails importable."""

import sys
from pathlib import Path

for folder in (Path(__file__).parent, Path(__file__).parents[1] / "ledger", Path(__file__).parents[1] / "desk"):
    sys.path.insert(0, str(folder.resolve() / "support"))
