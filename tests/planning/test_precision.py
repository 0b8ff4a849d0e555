"""Half-widths: against figures computed beforehand and against simulated intervals."""

import numpy as np
import pytest

from kit.errors import PlanError
from kit.planning.comparisons import AllPairs, NamedPair
from kit.planning.precision import half_width, half_width_range, shots_for_half_width


def test_half_widths_of_the_default_trial():
    # t(.975; 36) = 2.0281, q(.05; 5, 36)/√2 = 2.872 (tables); SE = 0.45 √(2/10).
    assert half_width(NamedPair(5, 0.45), 10) == pytest.approx(
        2.0281 * 0.45 * np.sqrt(0.2), rel=1e-4
    )
    assert half_width(AllPairs(5, 0.45), 10) == pytest.approx(2.872 * 0.45 * np.sqrt(0.2), rel=1e-3)


def test_shots_turn_the_width_round():
    shots = shots_for_half_width(AllPairs(5, 0.45), 0.4)
    assert half_width(AllPairs(5, 0.45), shots) <= 0.4 < half_width(AllPairs(5, 0.45), shots - 1)


def test_range_holds_the_stated_share_of_simulated_widths():
    # 50,000 simulated SDs on 36 df, seed 5: Monte Carlo SE 0.13 points.
    rng = np.random.default_rng(5)
    low, high = half_width_range(AllPairs(5, 0.45), 10)
    width = half_width(AllPairs(5, 0.45), 10) * np.sqrt(rng.chisquare(36, 50_000) / 36)
    assert ((width > low) & (width < high)).mean() == pytest.approx(0.9, abs=0.005)


def test_bad_input_is_refused_in_words():
    with pytest.raises(PlanError, match="above zero"):
        shots_for_half_width(AllPairs(5, 0.45), 0)
