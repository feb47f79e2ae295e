"""What is altered, and the tests that should notice. A module that moves needs its new path here."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]

_SESSION = ("tests/session",)
_RECORD = ("tests/ledger", "tests/crash/test_failing_calls.py")
_LIMITS = ("tests/trades/combustion", "tests/checks/test_published_values.py", "tests/checks/test_traps.py")


@dataclass(frozen=True)
class Target:
    """A source file below the root and the tests that are run on it altered."""

    source: str
    tests: tuple[str, ...]

    @property
    def path(self) -> Path:
        return ROOT / self.source

    @property
    def module(self) -> str:
        return self.source.removesuffix(".py").replace("/", ".")


TARGETS = {
    "fusion": Target("handsfree/session/fusion.py", _SESSION),
    "sets": Target("handsfree/session/settling.py", _SESSION),
    "settling": Target(
        "handsfree/measurement/settling.py",
        ("tests/measurement", "tests/checks/test_published_values.py", *_SESSION),
    ),
    "decide": Target("handsfree/session/decide.py", _SESSION),
    "stops": Target("handsfree/session/stops.py", _SESSION),
    "limits": Target("handsfree/trades/combustion/stop_limits.py", (*_LIMITS, *_SESSION)),
    "verification": Target("handsfree/ledger/verification.py", _RECORD),
    "chain": Target("handsfree/ledger/chain.py", _RECORD),
}
"""By the name that `--parts` takes."""
