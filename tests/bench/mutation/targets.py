"""What is altered, and the tests that should notice. A module that moves needs its new path here."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]

_SESSION = ("tests/session",)
_RECORD = (
    *("tests/ledger", "tests/crash/test_failing_calls.py"),
    *("tests/office/test_anchor.py", "tests/office/test_erasing.py"),
)
_VISIT = tuple(f"tests/visit/test_{name}.py" for name in ("photos", "instrument", "written_notes", "signatures"))
_TOLD = ("what_verification_tells", "more_that_verification_tells")
_LINKS = tuple(f"tests/ledger/test_{name}.py" for name in ("links", "tail", "clocks", *_TOLD))


@dataclass(frozen=True)
class Target:
    """A source file below the root, the tests of just this file, and others for when those see nothing."""

    source: str
    near: tuple[str, ...] = ()
    others: tuple[str, ...] = ()

    @property
    def tests(self) -> tuple[str, ...]:
        return (*self.near, *self.others)

    @property
    def path(self) -> Path:
        return ROOT / self.source

    @property
    def module(self) -> str:
        return self.source.removesuffix(".py").replace("/", ".")

    def is_near(self, name: str) -> bool:
        return name.startswith(self.near)


TARGETS = {
    "limits": Target(
        "handsfree/trades/combustion/stop_limits.py",
        ("tests/trades/combustion", "tests/checks/test_published_values.py", "tests/checks/test_traps.py"),
    ),
    "stops": Target("handsfree/session/stops.py", ("tests/session/test_stops_in_force.py",), _SESSION),
    "orders": Target(
        "handsfree/session/stop_orders.py",
        tuple(f"tests/session/test_{name}.py" for name in ("applied_stops", "dialogue_stopping", "after_stops")),
        _SESSION,
    ),
    "stopping": Target(
        "handsfree/session/apply_stops.py",
        tuple(f"tests/session/test_{name}.py" for name in ("applied_stops", "dialogue_stopping", "long_stops")),
        _SESSION,
    ),
    "turning": Target(
        "handsfree/session/apply_turns.py",
        ("tests/session/test_applied_turns.py", "tests/session/test_turns.py"),
        _SESSION,
    ),
    "sets": Target(
        "handsfree/session/settling.py",
        ("tests/session/test_settled_sets.py", "tests/session/test_dialogue_sets.py"),
        _SESSION,
    ),
    "fusion": Target(
        "handsfree/session/fusion.py",
        tuple(
            f"tests/session/test_{name}.py" for name in ("fusion", "heard_words", "two_opinions", "third_opinion")
        ),
        _SESSION,
    ),
    "decide": Target(
        "handsfree/session/decide.py",
        tuple(f"tests/session/test_{name}.py" for name in ("inputs_decided", "answers_taken", "time_to_work")),
        (*_SESSION, "tests/trades/test_visit_of_a_fan.py", *_VISIT),
    ),
    "settling": Target(
        "handsfree/measurement/settling.py",
        (
            "tests/measurement/test_settling_edges.py",
            "tests/measurement/test_settling.py",
            "tests/checks/test_slope_intervals.py",
            "tests/checks/test_published_values.py",
            "tests/session/test_settled_sets.py",
        ),
    ),
    "verification": Target("handsfree/ledger/verification.py", _LINKS, _RECORD),
    "chain": Target("handsfree/ledger/chain.py", _LINKS, _RECORD),
}
"""By the name that `--parts` takes."""
