"""Which methods may be best, read from simultaneous intervals of all pairs."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from kit.trial import Outcome


def not_shown_worse(
    methods: Iterable[object], pairs: pd.DataFrame, outcome: Outcome, null: float
) -> tuple[str, ...] | None:
    """The methods that no other is shown to beat; None where no direction was declared.

    ``pairs`` holds simultaneous intervals ``lower, upper`` of a against b; ``null`` is the value
    of no difference (0, or 1 for a ratio). With simultaneous 95 % intervals the set holds the
    truly best method with at least 95 %, because it can only be dropped by a false statement.
    """
    if outcome.higher_is_better is None:
        return None
    a_above = pairs["lower"] > null
    a_below = pairs["upper"] < null
    a_worse = a_below if outcome.higher_is_better else a_above
    b_worse = a_above if outcome.higher_is_better else a_below
    beaten = set(pairs.loc[a_worse, "a"]) | set(pairs.loc[b_worse, "b"])
    return tuple(str(name) for name in methods if name not in beaten)
