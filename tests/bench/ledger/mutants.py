"""Would the tests notice? The ledger's code is altered in one place at a time, and the tests are run on it.

    python tests/bench/ledger/mutants.py [HOW_MANY [SEED]]      (default 120 of all places, seed 1)

Comparisons are turned, conditions negated, numbers and texts of one character changed, sums turned into
differences, raises and calls as statements left out. Prints the survivors and the share that was noticed.
An altered program that hangs counts as noticed.
"""

from __future__ import annotations

import ast
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
MODULES = (
    "chain",
    "diagnosis",
    "entry",
    "head",
    "holdings",
    "kinds",
    "merkle",
    "ratchet",
    "recovery",
    "redaction",
)
MODULES += ("sealing", "slots", "store", "tail", "verification", "device", "files", "reading", "export", "clock")
TURNED = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.And: ast.Or,
    ast.Or: ast.And,
}


def alterations(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Alter the tree in place, one place at a time, yielding the line and what was done; then restore it."""
    for node in ast.walk(tree):
        yield from _operator(node)
        if isinstance(node, ast.If | ast.IfExp | ast.While):
            plain, node.test = node.test, ast.UnaryOp(ast.Not(), node.test)
            yield node.lineno, "condition negated"
            node.test = plain
        if isinstance(node, ast.Constant) and type(node.value) is int:
            node.value += 1
            yield node.lineno, "number plus one"
            node.value -= 1
        for name in ("body", "orelse", "finalbody"):
            body = getattr(node, name, None)
            if isinstance(body, list):
                yield from _left_out(body)


def _operator(node: ast.AST) -> Iterator[tuple[int, str]]:
    if isinstance(node, ast.Compare) and type(node.ops[0]) in TURNED:
        plain = node.ops[0]
        node.ops[0] = TURNED[type(plain)]()
        yield node.lineno, f"{type(plain).__name__} turned"
        node.ops[0] = plain
    if isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in TURNED:
        kind = node.op
        node.op = TURNED[type(kind)]()
        yield node.lineno, f"{type(kind).__name__} turned"
        node.op = kind


def _left_out(body: list[ast.stmt]) -> Iterator[tuple[int, str]]:
    for index, statement in enumerate(body):
        call = isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Call)
        if call or isinstance(statement, ast.Raise | ast.AugAssign):
            body[index] = ast.copy_location(ast.Pass(), statement)
            yield statement.lineno, f"left out: {ast.unparse(statement)[:60]}"
            body[index] = statement


def noticed(copy: Path) -> bool:
    """Run the tests on a copy; say whether any fails."""
    tests = ["tests/ledger", "tests/crash/test_power_cuts.py", "tests/crash/test_failing_calls.py"]
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--hypothesis-seed=1", *tests]
    try:
        return subprocess.run(command, cwd=copy, capture_output=True, timeout=300, check=False).returncode != 0
    except subprocess.TimeoutExpired:
        return True


def main(how_many: int = 120, seed: int = 1) -> None:
    """Alter, run and count."""
    made: list[tuple[str, int, str, str]] = []
    for module in MODULES:
        tree = ast.parse((ROOT / "handsfree" / "ledger" / f"{module}.py").read_text())
        made += [(module, line, what, ast.unparse(tree)) for line, what in alterations(tree)]
    chosen = random.Random(seed).sample(made, min(how_many, len(made)))
    survivors = 0
    with tempfile.TemporaryDirectory() as temporary:
        copy = Path(temporary)
        for part in ("handsfree", "tests/ledger", "tests/crash"):
            shutil.copytree(ROOT / part, copy / part)
        shutil.copy(ROOT / "pyproject.toml", copy / "pyproject.toml")
        assert not noticed(copy), "the tests fail on the code as it is"
        for number, (module, line, what, text) in enumerate(chosen, start=1):
            path = copy / "handsfree" / "ledger" / f"{module}.py"
            plain = path.read_text()
            path.write_text(text)
            if not noticed(copy):
                survivors += 1
                print(f"survived: {module}.py:{line} {what}", flush=True)
            path.write_text(plain)
            print(f"{number} altered, {number - survivors} noticed", end="\r", file=sys.stderr, flush=True)
    print(f"{len(chosen)} of {len(made)} places altered, {len(chosen) - survivors} noticed: ", end="")
    print(f"{100 * (1 - survivors / len(chosen)):.1f} %")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
