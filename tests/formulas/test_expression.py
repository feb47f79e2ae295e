"""The parser: precedence as in every textbook of algebra, and one sentence for each mistake."""

from __future__ import annotations

import contextlib
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.formulas.arithmetic import NoResult
from handsfree.formulas.evaluation import Bindings, evaluate
from handsfree.formulas.expression import ExpressionFault, parse

NOTHING = Bindings({}, {}, {})


def value(text: str) -> Decimal:
    return evaluate(parse(text), NOTHING)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2 + 3 * 4", 14),
        ("(2 + 3) * 4", 20),
        ("2 - 3 - 4", -5),
        ("24 / 4 / 2", 3),
        ("-2 ^ 2", -4),
        ("(-2) ^ 2", 4),
        ("2 * -3", -6),
        ("2 ^ -2", Decimal("0.25")),
        ("2 * 3 ^ 2", 18),
        ("min(3, 1, 2) + max(3, 1) + abs(-5)", 9),
        ("sqrt(2)", Decimal("1.414213562373095048801688724")),  # OEIS A002193, 28 digits
        ("exp(1)", Decimal("2.718281828459045235360287471")),  # OEIS A001113
        ("ln(2)", Decimal("0.6931471805599453094172321215")),  # OEIS A002162
        ("0.1 + 0.2", Decimal("0.3")),  # no binary float
    ],
)
def test_a_formula_has_the_value_that_algebra_gives(text: str, expected: Decimal) -> None:
    assert value(text) == expected


numbers = st.integers(0, 999).map(str)


def sums(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    operator = st.sampled_from(["+", "-", "*"])
    plain = st.tuples(inner, operator, inner).map(" ".join)
    return plain | inner.map(lambda text: f"({text})") | inner.map(lambda text: f"-({text})")


@settings(deadline=None)
@given(st.recursive(numbers, sums, max_leaves=8))
def test_sums_and_products_agree_with_exact_fractions(text: str) -> None:
    """Python's own arithmetic on fractions is the reference; the text was made here of digits and signs."""
    pieces = text.replace("(", " ( ").replace(")", " ) ").replace("-", " - ").split()
    exact = "".join(f"Fraction({piece})" if piece.isdigit() else piece for piece in pieces)
    expected = eval(exact, {"Fraction": Fraction})
    found = value(text)
    assert Fraction(found) == expected or abs(expected) >= 10**28


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("2 +", "the end"),
        ("2 3", "3"),
        ("(2", "the end"),
        ("2)", ")"),
        ("min(2, )", ")"),
        ("2 ^ 0.5", "0.5"),
        ("2 ^ x", "x"),
        ("2 ^ 10", "10"),
        ("a.b", "."),
        ("__import__('os')", "'os'"),
        ("2; 3", ";"),
        ("x = 2", "="),
        ("f(1)(2)", "("),
        ("a[0]", "["),
        ("1e5", "e5"),
        ("", "the end"),
    ],
)
def test_a_mistake_names_the_word(text: str, word: str) -> None:
    with pytest.raises(ExpressionFault) as caught:
        parse(text)
    assert caught.value.word == word
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["(" * 40 + "1" + ")" * 40, "-" * 200 + "1", "1 + " * 200 + "1", "abs(" * 40])
def test_a_formula_that_is_too_deep_or_long_is_refused(text: str) -> None:
    with pytest.raises(ExpressionFault):
        parse(text)


@settings(deadline=None)
@given(st.text(max_size=60) | st.text("0123456789+-*/^(),'abx. []", max_size=60))
def test_any_text_is_parsed_or_refused_and_nothing_else(text: str) -> None:
    with contextlib.suppress(ExpressionFault):
        parse(text)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1 / 0", "divides by zero"),
        ("1 / (2 - 2)", "divides by zero"),
        ("0 ^ -1", "divides by zero"),
        ("sqrt(-1)", "no value"),
        ("ln(0 - 1)", "no value"),
        ("exp(99999999)", "no value"),
        ("0 / 0", "no value"),
    ],
)
def test_arithmetic_without_an_answer_says_so(text: str, says: str) -> None:
    with pytest.raises(NoResult, match=says):
        value(text)
