"""Where the helpers of these tests lie, and a folder that everybody may pass through."""

import shutil
import sys
import tempfile
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[1]
for name in ("company", "handover", "desk", "session", "ledger", "office"):
    sys.path.insert(0, str(TESTS / name / "support"))


@pytest.fixture
def room():
    """A new folder with a short name: PostgreSQL runs as a user of its own where the tests run as root."""
    folder = Path(tempfile.mkdtemp(prefix="handsfree-company-"))
    folder.chmod(0o711)
    yield folder
    shutil.rmtree(folder, ignore_errors=True)
