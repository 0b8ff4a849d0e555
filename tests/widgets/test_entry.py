"""Typed numbers: read as meant or refused in words, never changed.

What must hold is the finding that a browser's own number box reads ``18,5`` as 185 and cuts 185
off at 30; there is no outside source for the wording.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.codebook import column
from kit.errors import DataError
from kit.widgets.entry import NumberRule

DOSE = NumberRule.of_column(column("dose_g"), decimals=2)
BLOCKS = NumberRule("Blocks", minimum=1, maximum=200, required=True, whole=True)


@pytest.mark.parametrize("text", ["18,5", "18.5", "18,5 g", " 18.5g "])
def test_a_comma_is_a_decimal_mark(text: str) -> None:
    assert DOSE.read(text) == 18.5


def test_out_of_range_is_said_and_not_cut_off() -> None:
    assert DOSE.problem("185") == "185.00 g cannot be right here. Between 5.00 g and 30.00 g."
    with pytest.raises(DataError):
        DOSE.read("185")


def test_an_empty_box_is_missing_unless_it_must_be_filled() -> None:
    assert DOSE.read("  ") is None
    assert BLOCKS.problem("") == "Blocks is empty. Fill it in."


def test_a_whole_number_is_not_rounded() -> None:
    assert BLOCKS.read("4,0") == 4
    assert BLOCKS.problem("4,5") == "“4,5” is not a whole number."


def test_a_value_just_over_the_limit_is_not_shown_as_the_limit() -> None:
    assert DOSE.problem("30.004").startswith("30.004 g cannot be right")


@given(st.floats(5, 30).map(lambda value: round(value, 4)))
def test_what_is_written_is_read_back(value: float) -> None:
    written = DOSE.written(value)
    assert DOSE.read(written) == pytest.approx(value, rel=1e-5)
    assert DOSE.read(written.replace(".", ",")) == DOSE.read(written)


@given(st.text(max_size=20))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    problem = DOSE.problem(text)
    if problem:
        assert problem.endswith(".")
    else:
        value = DOSE.read(text)
        assert value is None or 5 <= value <= 30
