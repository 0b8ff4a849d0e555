"""What cannot be fitted is refused at once, in words that name the column and the remedy."""

import numpy as np
import pandas as pd
import pytest

from kit.analysis.contrasts import (
    against_control,
    all_pairs,
    equivalence,
    factorial_effects,
    marginal_means,
    planned_contrasts,
)
from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.profile_intervals import variance_intervals
from kit.errors import DataError, ModelError
from tests.analysis.test_mixedmodel import trial

TABLE = trial(1)


def changed(**columns):
    return TABLE.assign(**columns)


def with_value(value):
    table = TABLE.copy()
    table.loc[[3, 5], "ey_pct"] = value
    return table


REFUSALS = {
    "unknown column": (TABLE, {"response": "ey"}, DataError, 'no column "ey"'),
    "misspelt": (TABLE, {"fixed": "metod"}, DataError, 'Did you mean "method"?'),
    "empty": (TABLE[:0], {}, DataError, "no rows"),
    "not a table": ([1, 2], {}, DataError, "DataFrame"),
    "missing": (with_value(np.nan), {}, DataError, "no value in rows 4, 6"),
    "infinite": (with_value(np.inf), {}, DataError, "infinite number in rows 4, 6"),
    "missing label": (changed(block=TABLE["block"].where(TABLE.index > 2)), {}, DataError, "block"),
    "text": (changed(ey_pct=TABLE["ey_pct"].astype(str)), {}, DataError, "must hold numbers"),
    "doubled column": (
        pd.concat([TABLE, TABLE[["block"]]], axis=1), {}, DataError, "more than one column",
    ),
    "one method": (changed(method="m1"), {}, ModelError, 'one level only in these shots ("m1")'),
    "one session": (changed(session="s"), {}, ModelError, 'All shots have the same "session"'),
    "all equal": (changed(ey_pct=20.0), {}, ModelError, 'Every shot has the same "ey_pct" (20)'),
    "exact": (
        changed(ey_pct=TABLE["method"].str[1:].astype(float)), {}, ModelError, "exactly",
    ),
    "exact within blocks": (
        changed(ey_pct=TABLE["block"].str[1:].astype(float) ** 0.5), {}, ModelError, "exactly",
    ),
    "confounded with method": (
        changed(bag=TABLE["method"]), {"random": ["bag"]}, ModelError, '"bag" cannot be estimated',
    ),
    "two names for one": (
        changed(bag=TABLE["method"]), {"fixed": "method + bag"}, ModelError, '"bag" and "method"',
    ),
    "a label a shot": (
        changed(shot=range(len(TABLE))), {"random": ["block", "shot"]}, ModelError,
        '"shot" and the shot-to-shot residual',
    ),
    "twins": (
        changed(other=TABLE["block"]), {"random": ["block", "other"]}, ModelError,
        '"block" and "other"',
    ),
    "named twice": (TABLE, {"random": ["block", "block"]}, ModelError, "stands twice"),
    "fixed and random": (TABLE, {"fixed": "block"}, ModelError, "as fixed and as random"),
    "own cause": (TABLE, {"fixed": "method + ey_pct"}, ModelError, "cannot explain itself"),
    "random as text": (TABLE, {"random": "block"}, ModelError, 'random=["block"]'),
    "no parts": (TABLE, {"fixed": "method:session", "random": ["block"]}, ModelError,
                 '"method * session"'),
    "empty cell": (
        TABLE[(TABLE["method"] != "m1") | (TABLE["session"] != "s0")],
        {"fixed": "method * session", "random": ["block"]}, ModelError,
        'no shot with method "m1" and session "s0"',
    ),
    "constant covariate": (
        changed(beverage_g=36.0), {"fixed": "method + beverage_g"}, ModelError, "same value",
    ),
    "zero covariate": (
        changed(beverage_g=0.0), {"fixed": "method + beverage_g"}, ModelError, "zero in every shot",
    ),
    "too few": (TABLE[:4], {"random": []}, ModelError, "4 shots cannot carry"),
    "nothing": (TABLE, {"fixed": "0"}, ModelError, "nothing to estimate"),
    "one shot with its own SD": (
        TABLE[(TABLE["method"] != "m1") | (TABLE["block"] == "b0")],
        {"random": ["block"], "residual_by": "method"}, ModelError, "too few shots of m1",
    ),
    "number and text": (
        changed(method=[1, "1", "b", "c"] * 6), {}, DataError, 'both read "1"',
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSALS)
def test_refusal(name):
    table, changes, kind, said = REFUSALS[name]
    model = {"response": "ey_pct", "fixed": "method", "random": ["session", "block"]} | changes
    with pytest.raises(kind) as refusal:
        fit_mixed_model(table, **model)
    assert said in str(refusal.value)


@pytest.mark.parametrize("by", [None, "method"])
def test_a_million_rows_are_refused_before_any_work(by):
    table = TABLE.iloc[np.arange(1_000_000) % len(TABLE)]
    with pytest.raises(ModelError, match="1,000,000 rows"):
        fit_mixed_model(table, "ey_pct", "method", ["session"], by)


def test_a_label_for_every_shot_of_a_long_log_is_refused():
    table = pd.concat([TABLE] * 200, ignore_index=True)
    table = table.assign(shot=np.arange(len(table)) // 2)
    with pytest.raises(ModelError, match='"shot" alone 2,400'):
        fit_mixed_model(table, "ey_pct", "method", ["shot"])


FIT = fit_mixed_model(TABLE, "ey_pct", "method + beverage_g", ["session", "block"])


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda: all_pairs(FIT, "beverage_g"), "has a slope"),
        (lambda: all_pairs(FIT, "session"), "Its factors are: method"),
        (lambda: all_pairs(FIT, "method", adjust="dunnett"), "tukey, holm, none"),
        (lambda: against_control(FIT, "method", "zz"), "The levels are: m0, m1, m2, m3"),
        (lambda: against_control(FIT, "method", "m0", adjust="tukey"), "dunnett, holm, none"),
        (lambda: planned_contrasts(FIT, "method", {"a": {"m1": 1}}), "add up to zero"),
        (lambda: planned_contrasts(FIT, "method", {"a": {"m1": 0}}), "are zero"),
        (lambda: planned_contrasts(FIT, "method", {}), "No contrast is named"),
        (lambda: factorial_effects(FIT, ["method"]), "has 4 levels"),
        (lambda: equivalence(all_pairs(FIT, "method"), -0.5), "positive number"),
        (lambda: equivalence(all_pairs(FIT, "method"), 0.5, adjust="tukey"), "holm, none"),
        (lambda: marginal_means(FIT, "method", level=95), "between 0 and 1"),
        (lambda: variance_intervals(FIT, level=0), "between 0 and 1"),
        (lambda: FIT.terms("wald"), '"kenward-roger" or "satterthwaite"'),
    ],
)
def test_refused_questions(ask, said):
    with pytest.raises(ModelError) as refusal:
        ask()
    assert said in str(refusal.value)
