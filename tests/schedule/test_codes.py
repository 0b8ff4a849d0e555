"""Blind codes: none twice, none read upside down, none one slip from another on one table."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import PlanError
from kit.schedule.codes import draw_codes, one_slip_away


@given(tables=st.lists(st.integers(1, 26), min_size=1, max_size=12), seed=st.integers(0, 999))
@settings(max_examples=40, deadline=None)
def test_codes_are_unique_and_cannot_be_taken_for_one_another(tables: list[int], seed: int) -> None:
    drawn = draw_codes(np.random.default_rng(seed), tables)
    flat = [code for table in drawn for code in table]
    assert [len(table) for table in drawn] == tables
    assert len(set(flat)) == len(flat)
    for code in flat:
        assert len(code) == 3
        assert code.isdigit()
        assert code[0] != "0"
        assert len(set(code)) == 3
        assert not set(code) <= set("01689")  # reads as a number upside down
    for table in drawn:
        for code in table:
            assert not one_slip_away(code) & (set(table) - {code})


def test_slips_are_a_wrong_digit_or_two_neighbours_swapped() -> None:
    assert {"427", "437", "247", "472"} <= one_slip_away("427")
    assert "724" not in one_slip_away("427")


def test_codes_in_use_are_not_given_again() -> None:
    first = draw_codes(np.random.default_rng(1), [200])[0]
    second = draw_codes(np.random.default_rng(1), [20] * 10, first)
    assert not set(first) & {code for table in second for code in table}


def test_more_cups_than_three_digits_tell_apart_get_four() -> None:
    codes = [code for table in draw_codes(np.random.default_rng(2), [130] * 10) for code in table]
    assert len(set(codes)) == 1300
    assert {len(code) for code in codes} == {4}


def test_more_cups_than_any_code_are_refused() -> None:
    with pytest.raises(PlanError, match="divide the trial"):
        draw_codes(np.random.default_rng(3), [6000])


def test_every_code_is_as_likely_as_any_other() -> None:
    # 600 codes, 30 000 single draws: chi-square on 599 df, 0.001 level, fixed seed.
    from scipy import stats

    rng = np.random.default_rng(4)
    drawn = [draw_codes(rng, [1])[0][0] for _ in range(6000)]
    _, counts = np.unique(drawn, return_counts=True)
    assert len(counts) == 600
    assert stats.chisquare(counts).pvalue > 0.001
