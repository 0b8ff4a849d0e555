"""Noise from a pilot and from past trials: textbook SDs, known truth, and Smyth's prior."""

import numpy as np
import pandas as pd
import pytest

from kit.errors import PlanError
from kit.planning.assurance import sd_range
from kit.planning.variance import (
    GUESS_DF,
    PastTrial,
    noise_assumed,
    noise_from_past_trials,
    noise_from_pilot,
    past_trials,
)
from kit.shipped import sample_session
from kit.trial import Noise


def test_a_guess_says_so_and_is_uncertain():
    found = noise_assumed(Noise())
    assert found.df == GUESS_DF
    assert found.sentence() == "Shot SD 0.45 (0.30 to 0.86), a guess without a source."
    assert found.as_noise() == Noise()


def test_a_pilot_of_control_shots_gives_their_sd():
    ey = [19.1, 19.8, 19.4, 18.9, 19.6, 19.9, 19.2, 19.5]
    pilot = pd.DataFrame({"ey_pct": ey, "method": "usual", "session": "p"})
    found = noise_from_pilot(pilot, Noise(session_sd=0.2), "2026-05-02")
    assert found.shot_sd == pytest.approx(np.std(ey, ddof=1), rel=1e-6)
    assert found.df == pytest.approx(7, rel=1e-6)
    assert found.session_sd == 0.2
    assert found.provenance == "from 8 control shots on 2026-05-02"


def test_a_pilot_over_sessions_separates_them():
    # Balanced one-way layout: within mean square on s(n-1) df (closed form of REML).
    rng = np.random.default_rng(4)
    day = np.repeat([0.0, 2.0, -1.5, 0.5], 5)
    ey = 19 + day + rng.normal(0, 0.4, 20)
    pilot = pd.DataFrame({"ey_pct": ey, "session": np.repeat(list("abcd"), 5)})
    found = noise_from_pilot(pilot, Noise(), "two weekends")
    within = ey.reshape(4, 5).var(axis=1, ddof=1).mean()
    assert found.shot_sd == pytest.approx(np.sqrt(within), rel=1e-5)
    assert found.df == pytest.approx(16, rel=1e-4)
    between = 5 * ey.reshape(4, 5).mean(axis=1).var(ddof=1)
    assert found.session_sd == pytest.approx(np.sqrt((between - within) / 5), rel=1e-4)


def test_pooling_like_trials_adds_their_degrees_of_freedom():
    trials = [PastTrial("a", 20, 0.44, 16, 0.3, 0.1), PastTrial("b", 20, 0.46, 16, 0.1, 0.1)]
    found = noise_from_past_trials(trials)
    assert found.shot_sd == pytest.approx(np.sqrt((0.44**2 + 0.46**2) / 2))
    assert found.df == 32
    assert found.session_sd == pytest.approx(np.sqrt((0.3**2 + 0.1**2) / 2))
    assert found.provenance == "from 2 own past trials (a 0.44, b 0.46)"


def test_scatter_between_trials_is_recovered():
    # Truth: σ² = d₀ s₀²/χ²(d₀) with d₀ = 10, s₀ = 0.45 (Smyth 2004); 3,000 trials on 20 df,
    # seed 8: standard error of d₀ about 0.4.
    rng = np.random.default_rng(8)
    sigma2 = 10 * 0.45**2 / rng.chisquare(10, 3000)
    s2 = sigma2 * rng.chisquare(20, 3000) / 20
    trials = [PastTrial("t", 25, float(np.sqrt(v)), 20, 0.2, 0.1) for v in s2]
    found = noise_from_past_trials(trials)
    assert found.df == pytest.approx(10, abs=1.5)
    assert found.shot_sd == pytest.approx(0.45, abs=0.02)


def test_past_trials_in_a_folder_give_back_their_true_noise():
    # The invented sessions: true shot SD 0.45 and 0.50 (truth.toml beside them); the estimate lies
    # in its 99 % chi-square range.
    found = {trial.title: trial for trial in past_trials(sample_session("four_naps").parent)}
    for title, true in [("Disc and soak", 0.45), ("Seven rivers", 0.50)]:
        low, high = sd_range(found[title].shot_sd, found[title].df, 0.99)
        assert low < true < high
    assert found["Seven rivers"].shots == 112


def test_bad_pilots_and_folders_are_refused_in_words(tmp_path):
    few = pd.DataFrame({"ey_pct": [19.0, 19.5], "session": "p"})
    with pytest.raises(PlanError, match="at least 4 are needed"):
        noise_from_pilot(few, Noise(), "today")
    with pytest.raises(PlanError, match="never all alike"):
        noise_from_pilot(pd.DataFrame({"ey_pct": [19.0] * 6}), Noise(), "today")
    with pytest.raises(PlanError, match="not a folder"):
        past_trials(tmp_path / "nowhere")
    with pytest.raises(PlanError, match="No trial in"):
        past_trials(tmp_path)
    with pytest.raises(PlanError, match="no past trial"):
        noise_from_past_trials([])
