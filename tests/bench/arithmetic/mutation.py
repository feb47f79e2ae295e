"""Perturb every coefficient of the arithmetic by 1 % and show that a check value fails.

Run: python tests/bench/arithmetic/mutation.py [--every N] [--seed S]
Reads the source of the combustion package and of the measurement modules that hold published constants, makes
one copy of the program for each number in it with that number 1 % higher, and runs the check values of
tests/checks against the copy. A number that no check notices is printed as a survivor.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import sys
import time
from decimal import Decimal
from importlib.machinery import ModuleSpec
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "checks")]

MODULES = [
    *(
        f"handsfree.trades.combustion.{name}"
        for name in (
            "components", "fuels", "stoichiometry", "flue_gas", "heating_value", "water", "enthalpy", "losses",
            "gas_rate", "altitude", "stop_limits",
        )
    ),
    *(f"handsfree.measurement.{name}" for name in ("distributions", "uncertainty", "verdict", "response")),
]  # fmt: skip

NOT_COEFFICIENTS = {
    "least", "most", "above", "below", "cutoff", "n",  # the bounds of what may be typed in, and of suggestions
}  # fmt: skip


JUDGED = {
    'gas("propane", {"C3H8": 1.0}, 0.1': "spread of what is sold: judged, no source",
    'gas("butane", {"nC4H10": 1.0}, 0.1': "spread of what is sold: judged, no source",
    'gas("propane and butane"': "an invented 70/30 mix, spread judged",
    "0.15,": "spread of what is sold: judged, no source",
    "0.2,": "spread of what is sold, the same as natural gas",
    "COLDEST, HOTTEST": "range of what may be asked",
    "0.1 < float(": "below it a CO2 is no flue gas",
    "while high - low": "precision of a search",
    "quantize": "the grid itself",
    "PROBABILITY_STEP": "the grid on which probabilities are compared",
    "< self.required < 1": "range of what may be given",
}
"""Lines whose numbers are no published coefficient, by a part of the line, with the reason."""


class Numbers(ast.NodeVisitor):
    """Collects the numbers of a module that carry a value of the trade, with their places."""

    def __init__(self) -> None:
        self.found: list[ast.Constant] = []

    def visit_Call(self, node: ast.Call) -> None:
        self.visit(node.func)
        decimal = isinstance(node.func, ast.Name) and node.func.id == "Decimal"
        for argument in node.args:
            if decimal and isinstance(argument, ast.Constant):
                self.found.append(argument)
            else:
                self.visit(argument)
        for keyword in node.keywords:
            if keyword.arg not in NOT_COEFFICIENTS:
                self.visit(keyword.value)

    def visit_FormattedValue(self, node: ast.FormattedValue) -> None:
        """Decimals of a message are no coefficient."""

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, float) and node.value not in {0.0, 1.0, 0.5, 2.0}:
            self.found.append(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        """Steps of a search (1e-9) are no coefficient; other bounds are."""
        for each in (node.left, *node.comparators):
            if not (isinstance(each, ast.Constant) and isinstance(each.value, float) and each.value < 1e-6):
                self.visit(each)


def mutants(module: str) -> list[tuple[int, str, ast.Constant]]:
    """Return line, text and node of every coefficient of a module."""
    path = ROOT / (module.replace(".", "/") + ".py")
    tree = ast.parse(path.read_text())
    numbers = Numbers()
    numbers.visit(tree)
    lines = path.read_text().splitlines()
    return [
        (node.lineno, f"{module}:{node.lineno}:{node.col_offset}", node)
        for node in numbers.found
        if not any(part in lines[node.lineno - 1] for part in JUDGED)
    ]


class OneMutant:
    """Finds one module with one number changed, and every other module as it is."""

    def __init__(self, module: str, place: str) -> None:
        self.module, self.place = module, place

    def find_spec(self, name: str, _path: object = None, _target: object = None) -> ModuleSpec | None:
        return ModuleSpec(name, self) if name == self.module else None

    def create_module(self, _spec: ModuleSpec) -> None:
        return None

    def exec_module(self, module: object) -> None:
        path = ROOT / (self.module.replace(".", "/") + ".py")
        tree = ast.parse(path.read_text())
        numbers = Numbers()
        numbers.visit(tree)
        line, column = (int(part) for part in self.place.split(":")[1:])
        for node in numbers.found:
            if (node.lineno, node.col_offset) == (line, column):
                node.value = higher(node.value)
        exec(compile(tree, str(path), "exec"), vars(module))


def higher(value: object) -> object:
    """Return a number 1 % higher, in its own type."""
    if isinstance(value, str):
        return str(Decimal(value) * Decimal("1.01"))
    return str(Decimal(value) * Decimal("1.01")) if isinstance(value, int) else value * 1.01  # type: ignore[operator]


def forget() -> None:
    for name in list(sys.modules):
        if name.startswith(("handsfree.trades.combustion", "handsfree.measurement", "values_", "every_check")):
            del sys.modules[name]


def caught(module: str, place: str) -> str | None:
    """Return the first check that fails with this number changed, or None."""
    forget()
    finder = OneMutant(module, place)
    sys.meta_path.insert(0, finder)  # type: ignore[arg-type]
    try:
        checks = importlib.import_module("every_check").CHECKS
        for check in checks:
            try:
                if not check.holds():
                    return str(check.number)
            except Exception as error:  # noqa: BLE001 - a mutant that crashes is noticed as well
                return f"{check.number} ({type(error).__name__})"
    except Exception as error:  # noqa: BLE001
        return f"import ({type(error).__name__})"
    finally:
        sys.meta_path.remove(finder)  # type: ignore[arg-type]
    return None


def run(every: int, offset: int) -> tuple[int, list[str]]:
    """Return how many coefficients were tried and which survived."""
    places = [(module, place) for module in MODULES for _, place, _ in mutants(module)]
    chosen = places[offset % every :: every]
    survivors = []
    for module, place in chosen:
        if caught(module, place) is None:
            line = int(place.split(":")[1])
            source = (ROOT / (module.replace(".", "/") + ".py")).read_text().splitlines()[line - 1].strip()
            survivors.append(f"{place}  {source[:90]}")
    forget()
    return len(chosen), survivors


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--offset", type=int, default=0)
    arguments = parser.parse_args()
    started = time.monotonic()
    tried, survivors = run(arguments.every, arguments.offset)
    print(
        f"{tried} coefficients raised by 1 %: {tried - len(survivors)} noticed by a check value, "
        f"{len(survivors)} not, in {time.monotonic() - started:.0f} s"
    )
    for survivor in survivors:
        print("  survivor", survivor)
    return 1 if survivors else 0


if __name__ == "__main__":
    raise SystemExit(main())
