"""What is altered: the operators of cosmic-ray that mean something here, and four of our own.

Cosmic-ray turns a comparison into every other; of those we take the border case and the opposite. It has no
operator that turns `in`, leaves out a statement or one side of a condition, or takes the greatest for the least.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

import parso
from cosmic_ray.operators.operator import Example, Operator
from cosmic_ray.plugins import get_operator
from parso.tree import NodeOrLeaf

Place = tuple[tuple[int, int], tuple[int, int]]

_COMPARISONS = (
    *("Lt_LtE", "Lt_GtE", "LtE_Lt", "LtE_Gt", "Gt_GtE", "Gt_LtE", "GtE_Gt", "GtE_Lt"),
    *("Eq_NotEq", "NotEq_Eq", "Is_IsNot", "IsNot_Is"),
)
_BINARY = ("Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "Pow_Mul", "BitOr_BitAnd", "BitAnd_BitOr", "Mod_Mul")
_OTHERS = (
    *("AddNot", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue", "ReplaceAndWithOr", "ReplaceOrWithAnd"),
    *("ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "ExceptionReplacer", "NumberReplacer"),
    *("ZeroIterationForLoop", "ReplaceUnaryOperator_USub_UAdd", "ReplaceUnaryOperator_Delete_Not"),
)


class _Ours(Operator):
    """An operator whose mutations of a node are listed as the texts that may take its place."""

    def replacements(self, node: NodeOrLeaf) -> Iterator[str]:
        raise NotImplementedError

    def mutation_positions(self, node: NodeOrLeaf) -> Iterator[Place]:
        for _ in self.replacements(node):
            yield node.start_pos, node.end_pos

    def mutate(self, node: NodeOrLeaf, index: int) -> NodeOrLeaf:
        text = node.get_first_leaf().prefix + list(self.replacements(node))[index]
        return parso.parse(text)

    @classmethod
    def examples(cls) -> tuple[Example, ...]:
        return ()


class LeastForGreatest(_Ours):
    """`min` becomes `max`, and the other way round; `any` becomes `all`."""

    OTHER = {"min": "max", "max": "min", "any": "all", "all": "any"}  # noqa: RUF012 - as cosmic-ray writes them

    def replacements(self, node: NodeOrLeaf) -> Iterator[str]:
        called = node.type == "name" and (after := node.get_next_leaf()) is not None and after.value == "("
        if called and node.get_previous_leaf().value not in {".", "def"} and node.value in self.OTHER:
            yield self.OTHER[node.value]


class MembershipTurned(_Ours):
    """`in` becomes `not in`, and the other way round."""

    def replacements(self, node: NodeOrLeaf) -> Iterator[str]:
        if node.parent is not None and node.parent.type == "comparison":
            if node.type == "keyword" and node.value == "in":
                yield "not in"
            if node.type == "comp_op" and node.get_code().split() == ["not", "in"]:
                yield "in"


class SideLeftOut(_Ours):
    """One side of a condition is left out: `a and b` becomes `a`, or `b`."""

    def replacements(self, node: NodeOrLeaf) -> Iterator[str]:
        if node.type in {"and_test", "or_test"}:
            for left_out in range(0, len(node.children), 2):
                kept = [child for place, child in enumerate(node.children[::2]) if 2 * place != left_out]
                yield f" {node.children[1].value} ".join(child.get_code().strip() for child in kept)


class StatementLeftOut(_Ours):
    """A call made for what it does, a `raise`, or an addition to a name is left out."""

    def replacements(self, node: NodeOrLeaf) -> Iterator[str]:
        statement = node.parent is not None and node.parent.type == "simple_stmt"
        if statement and (
            node.type == "raise_stmt"
            or (node.type == "atom_expr" and node.children[-1].get_first_leaf().value == "(")
            or (node.type == "expr_stmt" and node.children[1].type == "operator" and node.children[1].value != "=")
        ):
            yield "pass"


_OURS = (LeastForGreatest, MembershipTurned, SideLeftOut, StatementLeftOut)


def all_operators() -> dict[str, Operator]:
    """Return every operator used, by name."""
    names = chain(
        (f"ReplaceComparisonOperator_{name}" for name in _COMPARISONS),
        (f"ReplaceBinaryOperator_{name}" for name in _BINARY),
        _OTHERS,
    )
    ours = {operator.__name__: operator() for operator in _OURS}
    return {name: get_operator(f"core/{name}")() for name in names} | ours
