"""Wilkinson and Rogers (1973) notation: the expansions of their paper, and refusals in words."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.analysis.formula import parse_formula
from kit.errors import ModelError


@pytest.mark.parametrize(
    ("text", "terms"),
    [
        ("1", []),
        ("method", [("method",)]),
        ("a + b", [("a",), ("b",)]),
        ("a * b", [("a",), ("b",), ("a", "b")]),
        ("a:b + a + b", [("a",), ("b",), ("a", "b")]),
        ("a / b", [("a",), ("a", "b")]),
        ("a * b * c - a:b:c", [("a",), ("b",), ("c",), ("a", "b"), ("a", "c"), ("b", "c")]),
        ("(a + b + c)^2", [("a",), ("b",), ("c",), ("a", "b"), ("a", "c"), ("b", "c")]),
        ("(a + b) ** 2", [("a",), ("b",), ("a", "b")]),
        ("a * (b + c)", [("a",), ("b",), ("c",), ("a", "b"), ("a", "c")]),
        ("a + a + a:a", [("a",)]),
        ("class + lambda + None", [("class",), ("lambda",), ("None",)]),
        ("`dose (g)` + Größe + x.1", [("dose (g)",), ("Größe",), ("x.1",)]),
    ],
)
def test_expansion(text, terms):
    formula = parse_formula(text)
    assert formula.terms == tuple(terms)
    assert formula.intercept


@pytest.mark.parametrize("text", ["0 + a", "a - 1", "-1 + a", "a + 0"])
def test_intercept_taken_away(text):
    formula = parse_formula(text)
    assert formula.terms == (("a",),)
    assert not formula.intercept


def test_intercept_put_back():
    assert parse_formula("0 + a + 1").intercept


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("a +", "a column name is missing at the mark »: a +»"),
        ("a b", "an operator is missing at the mark »: a »b"),
        ("log(x)", '"log(" looks like a function'),
        ("a $ b", "no meaning in a formula"),
        ("(a + b", "a closing bracket is missing"),
        ("a ^ b", "whole number from 1 to 9"),
        ("(a + b)^99", "whole number from 1 to 9"),
        ("a ~ b", "no meaning"),
        ("3 + a", "a column name is missing at the mark »: »3"),
    ],
)
def test_refusals_mark_the_place(text, said):
    with pytest.raises(ModelError) as refusal:
        parse_formula(text)
    assert said in str(refusal.value)


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused_in_words(text):
    """No other exception than ours comes out."""
    with contextlib.suppress(ModelError):
        assert parse_formula(text).text == text.strip()
