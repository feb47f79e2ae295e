"""Putting an altered source in place of the true one: in the running program, or when the module is imported."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from importlib.machinery import ModuleSpec
from types import CodeType, FunctionType, ModuleType
from typing import Any

from tests.bench.mutation.targets import Target

REACHED = "__reached__"


def swap(target: Target, source: str | ast.Module) -> None:
    """Give every function of an imported module the code that it has in another version of its source.

    The functions stay the objects that everybody imported; what the module does when imported stays done.
    """
    code = compile(source, str(target.path), "exec", dont_inherit=True)
    codes = {one.co_qualname: one for one in _codes(code)}
    for function in _functions(sys.modules[target.module], str(target.path)):
        function.__code__ = codes[function.__code__.co_qualname]


def noting(target: Target, text: str, reached: Any) -> ast.Module:
    """Return the source with a note before each statement of each function: `reached(line)` is then called."""
    vars(sys.modules[target.module])[REACHED] = reached
    tree = ast.parse(text)
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            inside = [one for statement in node.body for one in ast.walk(statement)]
            for inner in inside:
                if not isinstance(inner, ast.FunctionDef | ast.ClassDef):
                    _note_bodies(inner)
            node.body = _noted(node.body)
    return ast.fix_missing_locations(tree)


class Planted:
    """A finder that imports one module from another source."""

    def __init__(self, target: Target, source: str) -> None:
        self._target, self._source = target, source

    def find_spec(self, name: str, _path: object = None, _target: object = None) -> ModuleSpec | None:
        return ModuleSpec(name, self, origin=str(self._target.path)) if name == self._target.module else None

    def create_module(self, _spec: ModuleSpec) -> None:
        return None

    def exec_module(self, module: ModuleType) -> None:
        module.__file__ = str(self._target.path)
        exec(compile(self._source, str(self._target.path), "exec", dont_inherit=True), vars(module))


def _codes(code: CodeType) -> Iterator[CodeType]:
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield constant
            yield from _codes(constant)


def _functions(module: ModuleType, file: str) -> Iterator[FunctionType]:
    """Yield the functions and methods that a module defines, each once, without their decorators."""
    found: dict[int, FunctionType] = {}
    members = list(vars(module).values())
    for member in members:
        if isinstance(member, type) and member.__module__ == module.__name__:
            members += vars(member).values()
    for member in members:
        plain = getattr(member, "fget", None) or getattr(member, "__func__", None) or member
        plain = getattr(plain, "__wrapped__", plain)
        if isinstance(plain, FunctionType) and plain.__code__.co_filename == file:
            found[id(plain)] = plain
    yield from found.values()


def _note_bodies(node: ast.AST) -> None:
    for name in ("body", "orelse", "finalbody"):
        statements = getattr(node, name, None)
        if isinstance(statements, list) and statements and isinstance(statements[0], ast.stmt):
            setattr(node, name, _noted(statements))


def _noted(statements: list[ast.stmt]) -> list[ast.stmt]:
    noted: list[ast.stmt] = []
    for statement in statements:
        if not isinstance(statement, ast.Nonlocal | ast.Global):
            call = ast.Call(ast.Name(REACHED, ast.Load()), [ast.Constant(statement.lineno)], [])
            noted.append(ast.copy_location(ast.Expr(call), statement))
        noted.append(statement)
    return noted
