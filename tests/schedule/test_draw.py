"""The schedule: every promise of its frame holds, and the same seed gives the same bytes."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit import codebook
from kit.errors import PlanError
from kit.files import sha256_of
from kit.schedule import draw_schedule, randomisation_scheme, read_schedule, write_schedule
from kit.schedule.files import schedule_text
from kit.trial import Trial, read_trial
from tests.schedule.trials import trial_with

SAMPLES = Path(__file__).parents[2] / "sample_sessions"
NAMES = ["four_naps", "disc_and_soak", "seven_rivers"]


@pytest.fixture(params=NAMES)
def trial(request: pytest.FixtureRequest) -> Trial:
    return read_trial(SAMPLES / request.param)


def study(schedule: pd.DataFrame) -> pd.DataFrame:
    return schedule[schedule["role"] == "study"]


def test_columns_are_those_of_the_codebook_and_the_factors(trial: Trial) -> None:
    schedule = draw_schedule(trial, 1)
    expected = codebook.names(codebook.SCHEDULE) + [factor.name for factor in trial.factors]
    assert list(schedule.columns) == expected


def test_every_session_runs_warm_up_reference_blocks_reference_spare(trial: Trial) -> None:
    layout = trial.layout
    schedule = draw_schedule(trial, 2)
    assert schedule["planned_shot"].tolist() == list(range(1, len(schedule) + 1))
    for _, session in schedule.groupby("session"):
        roles = session["role"].tolist()
        warm = layout.warm_up_shots_per_session
        assert roles[:warm] == ["warm-up"] * warm
        assert roles[warm] == "reference"
        assert roles[-1] == "spare"
        assert roles[-2] == "reference"
        assert roles.count("reference") == layout.reference_shots_per_session
        assert session["session_position"].tolist() == list(range(1, len(session) + 1))
        spare = session.iloc[-1]
        assert spare["method"] == spare["block"] == ""


def test_blocks_are_consecutive_within_one_session_and_whole_plot(trial: Trial) -> None:
    for _, block in study(draw_schedule(trial, 3)).groupby("block"):
        assert np.ptp(block["planned_shot"].to_numpy(int)) == len(block) - 1
        assert block["session"].nunique() == block["whole_plot"].nunique() == 1
        assert block["position"].tolist() == list(range(1, len(block) + 1))


def test_four_naps_has_twelve_complete_blocks() -> None:
    trial = read_trial(SAMPLES / "four_naps")
    blocks = study(draw_schedule(trial, 4)).groupby("block")["method"]
    assert blocks.ngroups == 12
    assert all(sorted(block) == sorted(trial.method_names) for _, block in blocks)


def test_disc_and_soak_halves_every_session_between_the_temperatures() -> None:
    trial = read_trial(SAMPLES / "disc_and_soak")
    rows = study(draw_schedule(trial, 5))
    assert len(rows) == 64
    plots = rows.groupby(["session", "whole_plot"])
    assert (plots["temperature"].nunique() == 1).all()
    assert (rows.groupby("session")["temperature"].value_counts() == 8).all()
    assert (plots["block"].nunique() == 2).all()
    settings = {method.name: method.settings for method in trial.methods}
    for row in rows.to_dict("records"):
        assert {name: row[name] for name in ("disc", "soak")} == settings[row["method"]]


def test_seven_rivers_is_the_balanced_design_of_seven_in_fours() -> None:
    # (v, b, r, k, λ) = (7, 7, 4, 4, 2): Fisher and Yates, Statistical Tables, taken four times.
    rows = study(draw_schedule(read_trial(SAMPLES / "seven_rivers"), 6))
    counts = pd.crosstab(rows["method"], rows["block"]).to_numpy()
    meetings = counts @ counts.T
    assert counts.shape == (7, 28)
    assert counts.max() == 1
    assert (np.diag(meetings) == 16).all()
    assert (meetings[~np.eye(7, dtype=bool)] == 8).all()


def test_the_same_seed_gives_the_same_bytes_and_another_seed_others(trial: Trial) -> None:
    one = schedule_text(draw_schedule(trial, 7))
    assert one == schedule_text(draw_schedule(trial, 7))
    assert one != schedule_text(draw_schedule(trial, 8))


GOLDEN = {
    "complete blocks": (4, 3, 4, {}),
    "incomplete blocks": (7, 7, 4, {"shots_per_block": 4, "study_shots_per_bag": 8}),
    "latin square": (5, 2, 5, {}),
    "carry-over balanced": (5, 3, 4, {}),
}
# From this project's own first release: any machine or version that draws otherwise is caught.
GOLDEN_SHA256 = {
    "complete blocks": "4b71799ee2131a910b1b1219adb0a92bfe82f05d157e4c1b0e32b59fab7e0ab5",
    "incomplete blocks": "b3ad9a9fb48557c94c322458ecb4294b1bd7e11b890fc227c4f033d6ef6d2b4b",
    "latin square": "f10e9cbe0864d8ecf4848f25996e53a5817991bd60bfd7e6758f268532897f12",
    "carry-over balanced": "54d8e17bd99b64c442ba3d98ac0e9a0c09669167e7cc345cd70c797730855a11",
}


@pytest.mark.parametrize("design", GOLDEN)
def test_a_seed_gives_the_same_bytes_on_every_machine(design: str) -> None:
    methods, sessions, blocks, layout = GOLDEN[design]
    schedule = draw_schedule(trial_with(methods, sessions, blocks, design, **layout), 20260509)
    assert sha256_of(schedule_text(schedule).encode()) == GOLDEN_SHA256[design]


def test_a_schedule_comes_back_from_its_file_as_it_was(trial: Trial, tmp_path: Path) -> None:
    schedule = draw_schedule(trial, 9)
    write_schedule(schedule, tmp_path)
    pd.testing.assert_frame_equal(read_schedule(tmp_path), schedule)


def test_the_scheme_draws_schedules_of_the_same_kind(trial: Trial) -> None:
    scheme = randomisation_scheme(trial)
    many = scheme.draw_many(np.random.default_rng(10), 50)
    rows = study(draw_schedule(trial, 11))
    assert many.shape == (50, len(rows))
    counts = rows["method"].value_counts()
    for drawn in many:
        assert pd.Series(drawn).value_counts().sort_values().tolist() == (
            counts.sort_values().tolist()
        )
    assert scheme.log10_size > 10
    assert "equally likely" in scheme.words()


@pytest.mark.parametrize("seed", [-1, 1.5, True, None])
def test_a_seed_that_is_no_whole_number_is_refused(seed: object) -> None:
    with pytest.raises(PlanError, match="seed"):
        draw_schedule(read_trial(SAMPLES / "four_naps"), seed)  # type: ignore[arg-type]
