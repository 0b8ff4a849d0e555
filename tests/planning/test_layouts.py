"""Expected precision of any layout against the textbook formulas of special ones."""

import numpy as np
import pandas as pd
import pytest

from kit.errors import PlanError
from kit.planning.comparisons import AgainstControl, AllPairs, NamedPair
from kit.planning.laid_out import (
    LaidOut,
    LaidOutAllPairs,
    LaidOutControl,
    LaidOutInteraction,
    LaidOutMainEffect,
    LaidOutPair,
)
from kit.planning.layouts import (
    complete_rows,
    expected_fit,
    expected_spread_df,
    rescaled,
    study_rows,
)
from kit.planning.power import shots_needed
from kit.trial import Noise
from tests.planning.trials import make_trial, split_plot_trial

CATALYST = [["m1", "m3", "m4"], ["m2", "m3", "m4"], ["m1", "m2", "m3"], ["m1", "m2", "m4"]]


def _rows(trial, blocks):
    """Study rows from a list of blocks, each a list of method names, all in one session."""
    places = [
        ("s1", f"b{b}", place + 1, "study", method)
        for b, block in enumerate(blocks)
        for place, method in enumerate(block)
    ]
    names = ["session", "block", "position", "role", "method"]
    return study_rows(pd.DataFrame(places, columns=names), trial)


def test_complete_blocks_have_their_closed_form():
    trial = make_trial(5, sessions=2, blocks_per_session=5)
    layout = LaidOut(complete_rows(trial), trial, trial.noise)
    for shots in (3, 10, 17):
        for mine, closed in [
            (LaidOutAllPairs(layout), AllPairs(5, 0.45)),
            (LaidOutPair(layout), NamedPair(5, 0.45)),
            (LaidOutControl(layout), AgainstControl(5, 0.45)),
        ]:
            found, textbook = mine.contrast(shots), closed.contrast(shots)
            assert found.se == pytest.approx(textbook.se, rel=1e-10)
            assert found.df == pytest.approx(textbook.df, rel=1e-8)
            assert found.multiplier == pytest.approx(textbook.multiplier, rel=1e-7)


def test_doubled_control_has_its_closed_form():
    trial = make_trial(
        4, "against control", sessions=1, blocks_per_session=6, control_shots_per_block=2
    )
    layout = LaidOut(complete_rows(trial), trial, trial.noise)
    found = LaidOutControl(layout).contrast(7.5)  # 6 blocks of 5 shots over 4 methods
    textbook = AgainstControl(4, 0.45, control_shots=2).contrast(6)
    assert (found.se, found.df) == pytest.approx((textbook.se, textbook.df), rel=1e-8)
    assert found.multiplier == pytest.approx(textbook.multiplier, rel=1e-7)


def test_balanced_incomplete_blocks_have_the_intra_block_variance():
    # The catalyst design (Montgomery 2013, section 4.4): 4 methods in 4 blocks of 3, λ = 2. With
    # block variance so large that only differences within blocks count: 2kσ²/(λt), 5 df.
    trial = make_trial(4, sessions=1, blocks_per_session=4)
    rows = _rows(trial, CATALYST)
    noise = Noise(shot_sd=0.45, session_sd=0.0, block_sd=100.0)
    fit = expected_fit(rows, trial, noise)
    means = fit.level_rows("method")
    se, df = fit.contrasts(means[:1] - means[1:])
    assert se == pytest.approx([0.45 * np.sqrt(2 * 3 / (2 * 4))] * 3, rel=1e-4)
    assert df == pytest.approx([5] * 3, rel=1e-4)


def test_latin_square_has_its_textbook_degrees_of_freedom():
    # k × k: (k-1)(k-2) (Montgomery 2013, section 4.2).
    trial = make_trial(4, sessions=1, blocks_per_session=4, design="latin square")
    names = trial.method_names
    rows = _rows(trial, [names[i:] + names[:i] for i in range(4)])
    fit = expected_fit(rows, trial, trial.noise)
    means = fit.level_rows("method")
    se, df = fit.contrasts(means[:1] - means[1:2])
    assert df[0] == pytest.approx(6, rel=1e-8)
    assert se[0] == pytest.approx(0.45 * np.sqrt(2 / 4), rel=1e-10)


def _split_plot_rows(trial):
    places = []
    for s in range(trial.layout.sessions):
        for b in range(trial.layout.blocks_per_session):
            whole = 2 * b // trial.layout.blocks_per_session
            level = ["90", "94"][(whole + s) % 2]
            for place, method in enumerate(trial.method_names):
                places.append(
                    (f"s{s}", f"w{s}{whole}", f"b{s}.{b}", place + 1, "study", method, level)
                )
    names = ["session", "whole_plot", "block", "position", "role", "method", "temperature"]
    return study_rows(pd.DataFrame(places, columns=names), trial)


def test_split_plot_tests_each_factor_on_its_own_error():
    # r = 6 sessions, a = 2 whole plots: (a-1)(r-1) = 5 df for the whole-plot factor and variance
    # 2(σ²_wp + σ²/m)/r with m = 4 shots a whole plot (Montgomery 2013, section 14.4).
    trial = split_plot_trial()
    layout = LaidOut(_split_plot_rows(trial), trial, trial.noise)
    shots = trial.shots_per_method_planned
    whole = LaidOutMainEffect(layout, "temperature").contrast(shots)
    assert whole.se == pytest.approx(np.sqrt(2 * (0.25**2 + 0.45**2 / 4) / 6), rel=1e-8)
    assert whole.df == pytest.approx(5, rel=0.02)
    within = LaidOutMainEffect(layout, "soak").contrast(shots)
    assert within.se == pytest.approx(2 * 0.45 / np.sqrt(48), rel=1e-8)
    both = LaidOutInteraction(layout, "temperature", "soak").contrast(shots)
    assert both.se == pytest.approx(2 * within.se, rel=1e-8)
    assert both.df == pytest.approx(within.df, rel=1e-8)
    assert within.df > 20


def test_rescaling_repeats_or_leaves_off_whole_blocks():
    trial = make_trial(3, sessions=2, blocks_per_session=3)
    rows = complete_rows(trial)
    longer = rescaled(rows, 15)
    assert len(longer) == 45
    assert longer["block"].nunique() == 15
    assert longer["session"].nunique() == 5  # 2 + 2 + the first half of a third
    assert (longer.groupby("block").size() == 3).all()
    shorter = rescaled(rows, 4)
    pd.testing.assert_frame_equal(shorter, rows.head(12), check_dtype=False)


def test_spread_degrees_of_freedom():
    # Without blocks n - 1; with blocks of two whose differences are all that is left, (n - 1)
    # shots share one pair of SDs, so each has less.
    trial = make_trial(5, sessions=1, blocks_per_session=1)
    rows = rescaled(complete_rows(trial), 10).assign(session="s", block="b")
    assert expected_spread_df(rows, trial, trial.noise) == pytest.approx(9, rel=1e-8)
    blocked = expected_spread_df(rescaled(complete_rows(trial), 10), trial, trial.noise)
    assert 6 < blocked < 9


def test_shots_needed_works_in_any_layout():
    trial = make_trial(4, sessions=1, blocks_per_session=4)
    rows = _rows(trial, CATALYST)
    layout = LaidOut(rows, trial, trial.noise)
    complete = shots_needed(AllPairs(4, 0.45), 0.5)
    incomplete = shots_needed(LaidOutAllPairs(layout), 0.5)
    # Efficiency factor 4·2/(3·3) = 0.89, a little recovered from between blocks.
    assert complete < incomplete < complete / 0.85


def test_layouts_that_tell_nothing_are_refused_in_words():
    trial = make_trial(4, sessions=1, blocks_per_session=2)
    rows = _rows(trial, [["m1", "m2"], ["m3", "m4"]])
    with pytest.raises(PlanError, match="cannot tell everything apart"):
        expected_fit(rows.head(3), trial, trial.noise)
    with pytest.raises(PlanError, match="smaller trial"):
        LaidOut(rows, trial, trial.noise).at(5000)
    with pytest.raises(PlanError, match="no study shot"):
        study_rows(pd.DataFrame({"role": ["spare"]}), trial)
