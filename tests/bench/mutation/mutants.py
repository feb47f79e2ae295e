"""One altered place of a source file: found, made, and told by the line before and after."""

from __future__ import annotations

import ast
import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code

from tests.bench.mutation.operators import all_operators
from tests.bench.mutation.targets import TARGETS, Target


@dataclass(frozen=True)
class Mutant:
    """A place of a target that one operator alters."""

    part: str
    operator: str
    occurrence: int
    line: int
    statement: int
    """Line of the innermost statement around it; 0 outside functions: it acts on import."""

    @property
    def target(self) -> Target:
        return TARGETS[self.part]

    @property
    def source(self) -> str:
        """Return the whole altered file."""
        return _altered(self.target, self.operator, self.occurrence)

    def change(self) -> tuple[list[str], list[str]]:
        """Return the lines taken out and those put in, without their margins."""
        lines = list(difflib.ndiff(text_of(self.target).splitlines(), self.source.splitlines()))
        taken, put = ([one[2:].strip() for one in lines if one[:2] == sign] for sign in ("- ", "+ "))
        return taken, put


@cache  # it is asked for when a mutant is found, told and tried, and takes a twentieth of a second each time
def _altered(target: Target, operator: str, occurrence: int) -> str:
    altered = mutate_code(text_of(target), all_operators()[operator], occurrence)
    assert altered is not None
    return str(altered)


@cache
def text_of(target: Target) -> str:
    return target.path.read_text("utf-8")


def mutants_of(part: str) -> Iterator[Mutant]:
    """Yield every mutant of a target that compiles and differs from it."""
    target = TARGETS[part]
    tree = get_ast(text_of(target))
    places = _Places(text_of(target))
    seen = {ast.dump(ast.parse(text_of(target)))}
    for name, operator in all_operators().items():
        found = ((node, place) for node in ast_nodes(tree) for place in operator.mutation_positions(node))
        for occurrence, (node, (start, _end)) in enumerate(found):
            if not places.decides(start) or node.parent.type == "parameters":  # a bare * is no operator
                continue
            mutant = Mutant(part, name, occurrence, start[0], places.statement(start[0]))
            try:
                dumped = ast.dump(ast.parse(mutant.source))
            except SyntaxError:
                continue
            if dumped not in seen:
                seen.add(dumped)
                yield mutant


class _Places:
    """Which statement each line belongs to, and the places that decide nothing when the program runs."""

    def __init__(self, text: str) -> None:
        self._statements: list[tuple[int, int]] = []
        self._passed_over: list[tuple[tuple[int, int], tuple[int, int]]] = []
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef):
                inside = [one for one in ast.walk(ast.Module(node.body, [])) if isinstance(one, ast.stmt)]
                self._statements += [(one.lineno, one.end_lineno or one.lineno) for one in inside]
                self._pass_over(node.returns)
            if isinstance(node, ast.ClassDef | ast.FunctionDef):
                for decorator in node.decorator_list:  # frozen, cached: held by the type checker, not by tests
                    self._pass_over(decorator)
            if isinstance(node, ast.AnnAssign | ast.arg):
                self._pass_over(node.annotation)
            if isinstance(node, ast.Assert) or (isinstance(node, ast.keyword) and node.arg == "strict"):
                self._pass_over(node)  # it tells what is known, and acts only when that is wrong
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "assert_never":
                self._pass_over(node)  # the type checker proves that nothing comes here

    def statement(self, line: int) -> int:
        around = [(last - first, first) for first, last in self._statements if first <= line <= last]
        return min(around)[1] if around else 0

    def decides(self, start: tuple[int, int]) -> bool:
        return not any(first <= start < last for first, last in self._passed_over)

    def _pass_over(self, node: ast.stmt | ast.expr | ast.keyword | None) -> None:
        if node is not None:
            end = (node.end_lineno or node.lineno, node.end_col_offset or 0)
            self._passed_over.append(((node.lineno, node.col_offset), end))
