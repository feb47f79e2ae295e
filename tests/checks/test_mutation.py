"""Every coefficient of the arithmetic is held by a check value."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

PROGRAM = Path(__file__).resolve().parents[1] / "bench" / "arithmetic" / "mutation.py"


@pytest.mark.slow("the checks are computed anew for each of hundreds of coefficients")
def test_a_coefficient_one_percent_off_is_noticed():
    """Each published number, raised by 1 % in a copy of the program, makes at least one check value fail."""
    result = subprocess.run(
        [sys.executable, str(PROGRAM)], capture_output=True, text=True, timeout=300, check=False
    )
    assert result.returncode == 0, result.stdout + result.stderr
    assert int(result.stdout.split()[0]) > 250
