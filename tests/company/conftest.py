"""Where the helpers of these tests lie."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "handover" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "desk" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "session" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "ledger" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "office" / "support"))
