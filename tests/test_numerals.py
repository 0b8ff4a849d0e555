"""Reading numbers as people write them; rounding by JCGM 100:2008, 7.2.6."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import DataError
from kit.numerals import parse_number, round_uncertainty, say_number, say_p


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("18,5", "", 18.5),
        ("18.5", "", 18.5),
        ("18,5 g", "g", 18.5),
        ("18.5g", "g", 18.5),
        (" 9,52 % ", "%", 9.52),
        ("−1,5", "", -1.5),
        (".5", "", 0.5),
        ("36,", "g", 36.0),
        ("27 sec", "s", 27.0),
        (18, "g", 18.0),
        ("1e2", "", 100.0),
    ],
)
def test_one_meaning_is_read(text: object, unit: str, value: float) -> None:
    assert parse_number(text, unit) == value


@pytest.mark.parametrize("text", ["", "  ", "-", "n/a", None, float("nan"), "\u00a0"])
def test_nothing_written_is_missing(text: object) -> None:
    assert parse_number(text) is None


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("1.850,0", "", "more than one way"),
        ("1,850.0", "", "more than one way"),
        ("1 850", "", "more than one way"),
        ("18,5 oz", "g", "carries the unit “oz”"),
        ("36 g", "s", "carries the unit “g”"),
        ("fast", "s", "is not a number"),
        ("=1+1", "", "is not a number"),
        (float("inf"), "", "infinite"),
        (True, "", "is not a number"),
    ],
)
def test_what_could_mean_two_things_is_refused(text: object, unit: str, words: str) -> None:
    with pytest.raises(DataError, match=words):
        parse_number(text, unit)


@given(st.floats(-1e6, 1e6, allow_nan=False))
def test_comma_and_point_agree(value: float) -> None:
    written = f"{value:.4f}"
    assert parse_number(written) == parse_number(written.replace(".", ",")) == float(written)


def test_uncertainty_to_two_digits() -> None:
    # JCGM 100:2008, 7.2.6: 10.47 mΩ with two digits is 10 mΩ; other values by the same rule.
    assert round_uncertainty(0.1049) == (0.10, 2)
    assert round_uncertainty(0.0996) == (0.1, 2)
    assert round_uncertainty(10.47) == (10.0, 0)
    assert round_uncertainty(0.004567) == (0.0046, 4)


def test_numbers_for_people() -> None:
    assert say_number(-0.004, 2) == "0.00"
    assert say_number(-0.5, 2) == "−0.50"
    assert say_number(0.5, 1, signed=True) == "+0.5"
    assert say_p(0.0004) == "p < 0.001"
    assert say_p(0.04999) == "p = 0.050"
    assert say_p(0.2) == "p = 0.20"
