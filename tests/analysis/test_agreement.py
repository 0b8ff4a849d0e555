"""Agreement of scorers against worked values.

Sources: 50 grant applications, 20 and 15 agreed, 5 and 10 not: kappa = 0.40 (a worked example
often given, from memory). Weighted kappa against its definition in Cohen (1968).
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.analysis.agreement import scorer_agreement
from kit.errors import ModelError


def scored(a: list[int], b: list[int]) -> pd.DataFrame:
    codes = [str(100 + number) for number in range(len(a))]
    return pd.DataFrame(
        {"code": codes * 2, "scorer": ["A"] * len(a) + ["B"] * len(b), "faults": [*a, *b]}
    )


def test_kappa_of_the_worked_example():
    a = [1] * 20 + [1] * 5 + [0] * 10 + [0] * 15
    b = [1] * 20 + [0] * 5 + [1] * 10 + [0] * 15
    found = scorer_agreement(scored(a, b))
    assert found.kappa == pytest.approx(0.40)
    assert (found.cups, found.same) == (50, 35)
    assert "κ = 0.40" in found.sentence()


@given(pairs=st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), min_size=3, max_size=40))
def test_weighted_kappa_is_one_minus_observed_over_expected_disagreement(pairs):
    a, b = (np.array(side) for side in zip(*pairs, strict=True))
    found = scorer_agreement(scored(a.tolist(), b.tolist()))
    expected = np.abs(a[:, None] - b[None, :]).mean()
    if expected == 0:
        assert math.isnan(found.weighted_kappa)
    else:
        assert found.weighted_kappa == pytest.approx(1 - np.abs(a - b).mean() / expected)
    assert found.mean_difference == pytest.approx((a - b).mean())


def test_scorers_who_only_ever_say_one_thing_give_no_kappa():
    found = scorer_agreement(scored([0, 0, 0], [0, 0, 0]))
    assert math.isnan(found.kappa)
    assert "chance cannot be set aside" in found.sentence()


def test_a_later_score_takes_the_place_of_an_earlier_one():
    again = pd.DataFrame({"code": ["100"], "scorer": ["B"], "faults": [1]})
    found = scorer_agreement(pd.concat([scored([1, 0], [0, 0]), again]))
    assert found.same == 2


def test_one_scorer_alone_is_said():
    with pytest.raises(ModelError, match="second scorer"):
        scorer_agreement(scored([1, 0], [1, 0])[:2])
