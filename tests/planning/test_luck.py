"""Luck: against figures simulated beforehand for five methods of ten shots."""

import pytest

from kit.planning.layouts import complete_rows
from kit.planning.luck import gallery_summary, luck_gallery, luck_summary
from kit.planning.truth import Truth
from kit.planning.virtual import virtual_plan
from tests.planning.trials import default_trial


def _plan_and_truth():
    trial = default_trial()
    return virtual_plan(complete_rows(trial), trial), Truth.level(trial)


def test_luck_is_as_large_as_found_beforehand():
    # Simulated apart from this code: five averages of ten shots, SD 0.45: 95 % of gaps below 0.55;
    # largest over smallest SD 1.7 typically and 2.7 at the 95th percentile, shots independent. The
    # gap is free of blocks; the raw SDs here hold session and block noise common to all methods,
    # which pulls the ratio down.
    plan, truth = _plan_and_truth()
    found = luck_summary(plan, truth, seed=3, trials=20_000)
    assert found.gap_high == pytest.approx(0.55, abs=0.01)
    bare = Truth(
        truth.methods, truth.means, truth.shot_sds, truth.fault_rates, session_sd=0, block_sd=0
    )
    alone = luck_summary(plan, bare, seed=3, trials=20_000)
    assert alone.sd_ratio_median == pytest.approx(1.7, abs=0.1)
    assert alone.sd_ratio_high == pytest.approx(2.7, abs=0.1)
    assert found.sd_ratio_high < alone.sd_ratio_high


def test_gallery_shows_whole_trials_and_repeats():
    plan, truth = _plan_and_truth()
    gallery = luck_gallery(plan, truth, seed=5, pictures=4)
    assert gallery.groupby("picture").size().tolist() == [50] * 4
    assert gallery.equals(luck_gallery(plan, truth, seed=5, pictures=4))
    seen = gallery_summary(gallery)
    assert (seen["gap"] > 0).all()
    assert (seen["sd_ratio"] > 1).all()
    assert (seen["highest"] != seen["lowest"]).all()


def test_sentences_name_the_figures():
    plan, truth = _plan_and_truth()
    gap, spread, faults = luck_summary(plan, truth, seed=1).sentences()
    assert "one trial of twenty 0.5" in gap
    assert "times as uneven" in spread
    assert "percentage points" in faults
