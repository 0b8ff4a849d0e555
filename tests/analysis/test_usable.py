"""The rows an analysis can use, and what is said of the others."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from kit.analysis.usable import two_methods_or_more, usable_rows
from kit.errors import DataError, ModelError


def test_missing_cells_are_left_out_and_the_order_of_categories_kept():
    table = pd.DataFrame(
        {
            "method": pd.Categorical(["B", "A", "B", None], ["B", "A", "C"]),
            "ey_pct": [20.0, np.nan, 19.0, 21.0],
            "note": ["a", "b", "c", "d"],
        }
    )
    rows = usable_rows(table, "ey_pct")
    assert rows["ey_pct"].tolist() == [20.0, 19.0]
    assert list(rows["method"].cat.categories) == ["B"]
    assert list(rows.columns) == ["ey_pct", "method"]


def test_texts_are_sorted():
    table = pd.DataFrame({"method": ["Thaw", "Fjord"], "ey_pct": [1, 2]})
    assert two_methods_or_more(usable_rows(table, "ey_pct"), "mean") == ["Fjord", "Thaw"]


@pytest.mark.parametrize(
    ("column", "error", "words"),
    [
        ([1.0, np.inf], DataError, "infinite number"),
        (["19.5", "wet"], DataError, "not a number"),
        ([np.nan, np.nan], ModelError, "nothing to analyse"),
    ],
)
def test_what_cannot_be_used_is_said(column, error, words):
    with pytest.raises(error, match=words):
        usable_rows(pd.DataFrame({"method": ["A", "B"], "ey_pct": column}), "ey_pct")


def test_an_unknown_column_is_named_with_the_known_ones():
    with pytest.raises(DataError, match="no column “block”; it has method, ey_pct"):
        usable_rows(pd.DataFrame({"method": ["A"], "ey_pct": [1]}), "ey_pct", ["method", "block"])


def test_one_method_alone():
    rows = usable_rows(pd.DataFrame({"method": ["A", "A"], "ey_pct": [1, 2]}), "ey_pct")
    with pytest.raises(ModelError, match="Only one method"):
        two_methods_or_more(rows, "consistency")
