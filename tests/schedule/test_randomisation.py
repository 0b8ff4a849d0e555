"""The stated set: draws are uniform over it, its size is counted right, and impossible requests
are refused by naming the nearest possible design."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kit.design.carryover import follower_counts, place_counts
from kit.errors import PlanError
from kit.schedule import draw_schedule, randomisation_scheme
from kit.schedule.permuted import log10_orbit_of_latin_square
from kit.trial import Factor, Layout, Outcome, Trial
from tests.schedule.trials import plain, sample, trial_with

# One test in a thousand fails by luck; twelve are made, so about one suite in eighty would, if
# the seed were not fixed.
LEVEL = 0.001
PER_SCHEDULE = 60

SMALL = {
    "complete": plain(3, 1, 2, "complete blocks"),
    "control twice": plain(3, 1, 1, "complete blocks", control_shots_per_block=2),
    "each twice": plain(2, 1, 1, "complete blocks", shots_per_block=4),
    "pairs of three": plain(3, 1, 3, "incomplete blocks", shots_per_block=2),
    "pairs of four in sessions": plain(4, 3, 2, "incomplete blocks", shots_per_block=2),
    "control in every pair": plain(
        4, 1, 3, "incomplete blocks", shots_per_block=3, control_in_every_block=True
    ),
    "latin square of three": plain(3, 1, 3, "latin square"),
    "latin square of four": plain(4, 1, 4, "latin square"),
    "row and column": plain(3, 1, 3, "latin square", shots_per_block=2),
    "williams of four": plain(4, 1, 4, "carry-over balanced"),
    "williams of three, joined": plain(3, 1, 6, "carry-over balanced"),
    "williams of four in two sessions": plain(4, 2, 2, "carry-over balanced"),
}


@pytest.mark.parametrize("name", [name for name in SMALL if name != "pairs of four in sessions"])
def test_draws_are_uniform_over_a_set_of_the_stated_size(name: str) -> None:
    scheme = randomisation_scheme(SMALL[name])
    size = 10**scheme.log10_size
    assert size < 2e4
    draws = scheme.draw_numbers(np.random.default_rng(2026), round(PER_SCHEDULE * size))
    _, counts = np.unique(draws, axis=0, return_counts=True)
    assert len(counts) == pytest.approx(size, rel=1e-9)
    assert stats.chisquare(counts).pvalue > LEVEL


def test_pairs_of_four_in_sessions_reach_the_whole_set() -> None:
    # Three sessions each hold the six pairs' two disjoint ones: 3! orders of the sessions, times
    # 2 orders of the blocks and 2² of the shots in each session.
    scheme = randomisation_scheme(SMALL["pairs of four in sessions"])
    size = math.factorial(3) * (2 * 4) ** 3
    assert 10**scheme.log10_size == pytest.approx(size)
    draws = scheme.draw_numbers(np.random.default_rng(5), 40 * size)
    _, counts = np.unique(draws, axis=0, return_counts=True)
    assert len(counts) == size
    assert stats.chisquare(counts).pvalue > LEVEL


def test_whole_plots_are_drawn_uniformly() -> None:
    plots = randomisation_scheme(sample("disc_and_soak")).whole_plots
    assert plots is not None
    rng = np.random.default_rng(6)
    draws = np.array([plots.draw(rng) for _ in range(1600)])
    assert (draws.reshape(-1, 4, 2).sum(axis=2) == 1).all()
    _, counts = np.unique(draws, axis=0, return_counts=True)
    assert len(counts) == round(10**plots.log10_size) == 16
    assert stats.chisquare(counts).pvalue > LEVEL


def test_the_number_of_latin_squares_is_the_published_one() -> None:
    # 12 squares of order 3; 576 of order 4 in two classes, 432 in that of the cyclic square;
    # 17 280 of order 5 in that of the cyclic square (Fisher and Yates 1934; McKay and Wanless
    # 2005, Annals of Combinatorics 9, 335-344).
    sizes = [round(10 ** log10_orbit_of_latin_square(n)) for n in (2, 3, 4, 5)]
    assert sizes == [2, 12, 432, 17280]


@pytest.mark.parametrize("t", range(3, 13))
def test_no_method_follows_itself_whatever_the_number_of_blocks(t: int) -> None:
    for blocks in (2, 3, t - 1, t, t + 1, 2 * t, 2 * t + 3):
        scheme = randomisation_scheme(plain(t, 1, blocks, "carry-over balanced"))
        draws = scheme.draw_numbers(np.random.default_rng(t), 10)
        assert (draws[:, 1:] != draws[:, :-1]).all()


@given(
    t=st.integers(2, 8),
    sessions=st.integers(1, 3),
    blocks=st.integers(1, 7),
    seed=st.integers(0, 2**32),
)
@settings(max_examples=40, deadline=None)
def test_carry_over_counts_are_within_one_for_even_numbers(
    t: int, sessions: int, blocks: int, seed: int
) -> None:
    scheme = randomisation_scheme(trial_with(t, sessions, blocks, "carry-over balanced"))
    rows = scheme.draw_numbers(np.random.default_rng(seed), 1).reshape(-1, t)
    within = 1 if t % 2 == 0 else 2
    assert (np.sort(rows, axis=1) == np.arange(t)).all()
    assert np.ptp(place_counts(rows, t)) <= within
    followers = follower_counts(rows, t)
    assert np.ptp(followers[~np.eye(t, dtype=bool)]) <= within


@given(t=st.integers(2, 7), squares=st.integers(1, 3), seed=st.integers(0, 2**32))
@settings(max_examples=25, deadline=None)
def test_every_latin_square_is_one(t: int, squares: int, seed: int) -> None:
    scheme = randomisation_scheme(trial_with(t, 1, t * squares, "latin square"))
    drawn = scheme.draw_numbers(np.random.default_rng(seed), 1).reshape(squares, t, t)
    for square in drawn:
        assert (np.sort(square, axis=0) == np.arange(t)[:, None]).all()
        assert (np.sort(square, axis=1) == np.arange(t)[None, :]).all()


def test_one_draw_is_the_first_of_many() -> None:
    for trial in SMALL.values():
        scheme = randomisation_scheme(trial)
        one = scheme.draw(np.random.default_rng(7))
        assert (one == scheme.draw_many(np.random.default_rng(7), 1)[0]).all()


def test_a_seven_method_design_in_bags_of_eight() -> None:
    trial = trial_with(7, 7, 4, "incomplete blocks", shots_per_block=4, study_shots_per_bag=8)
    schedule = draw_schedule(trial, 1)
    study = schedule[schedule["role"] == "study"]
    assert study["bag"].nunique() == 14
    assert (study.groupby("bag").size() == 8).all()
    assert (study.groupby("block")["bag"].nunique() == 1).all()
    assert (study.groupby("bag")["session"].nunique() == 1).all()
    # The control twice in each bag of eight is the other way to fill it.
    doubled = trial_with(7, 2, 2, "complete blocks", control_shots_per_block=2,
                         study_shots_per_bag=8)  # fmt: skip
    shots = draw_schedule(doubled, 1).query("role == 'study'")
    assert (shots[shots["method"] == "m00"].groupby("bag").size() == 2).all()


def test_dial_in_shots_come_once_after_the_first_warm_up() -> None:
    schedule = draw_schedule(trial_with(3, 2, 2, "complete blocks", dial_in_shots=4), 1)
    roles = schedule["role"].tolist()
    assert roles[:7] == ["warm-up"] * 2 + ["dial-in"] * 4 + ["reference"]
    assert roles.count("dial-in") == 4


def cells(trial: Trial) -> Trial:
    """Three factors at two levels in blocks of four, judged by their effects."""
    methods = tuple(
        trial.methods[0].model_copy(
            update={
                "name": f"cell {i}",
                "control": False,
                "settings": {name: str(i >> bit & 1) for bit, name in enumerate("ABC")},
            }
        )
        for i in range(8)
    )
    return trial.model_copy(
        update={
            "methods": methods,
            "factors": tuple(Factor(name=name, levels=("0", "1")) for name in "ABC"),
            "outcomes": (
                Outcome(
                    measure="ey_pct",
                    aspect="mean",
                    role="primary",
                    smallest_difference=0.5,
                    family="factorial",
                ),
            ),
            "layout": Layout(
                design="incomplete blocks", sessions=2, blocks_per_session=4, shots_per_block=4
            ),
        }
    )


def test_a_factorial_in_small_blocks_gives_up_its_highest_interaction() -> None:
    trial = cells(sample("four_naps"))
    study = draw_schedule(trial, 3).query("role == 'study'")
    sign = 1 - 2 * ((study[["A", "B", "C"]] == "1").sum(axis=1) % 2)
    assert (sign.groupby(study["block"]).sum().abs() == 4).all()
    assert (study.groupby("block")["A"].value_counts() == 2).all()


REFUSED = [
    (trial_with(5, 1, 4, "complete blocks", shots_per_block=4), "incomplete blocks of 4"),
    (trial_with(5, 1, 4, "complete blocks", shots_per_block=7), "blocks of 5"),
    (trial_with(5, 1, 4, "complete blocks", study_shots_per_bag=4), "incomplete blocks of 4"),
    (trial_with(5, 1, 4, "incomplete blocks", shots_per_block=6), "complete blocks"),
    (trial_with(9, 1, 3, "incomplete blocks", shots_per_block=3), "4 blocks of 3"),
    (trial_with(5, 1, 4, "latin square"), "5 or 5 blocks|5 blocks"),
    (trial_with(5, 1, 12, "latin square"), "10 or 15 blocks"),
    (trial_with(5, 1, 5, "latin square", shots_per_block=8), "blocks of 5"),
    (trial_with(5, 1, 5, "latin square", control_shots_per_block=2), "complete blocks"),
    (trial_with(5, 1, 5, "carry-over balanced", shots_per_block=8), "blocks of 5"),
    (trial_with(5, 1, 5, "split-plot"), "complete blocks"),
    (trial_with(4, 2, 5, "complete blocks", longest_session_shots=20), "sessions of 3 blocks"),
    (
        trial_with(4, 1, 3, "incomplete blocks", shots_per_block=2, control_in_every_block=True),
        "block holds 3 shots",
    ),
]


@pytest.mark.parametrize(("trial", "nearest"), REFUSED)
def test_impossible_layouts_name_the_nearest_possible(trial: Trial, nearest: str) -> None:
    with pytest.raises(PlanError, match=nearest) as refusal:
        draw_schedule(trial, 1)
    assert "nearest possible" in str(refusal.value).lower()


@pytest.mark.parametrize(
    ("layout", "nearest"),
    [
        ({"whole_plots_per_session": 3, "blocks_per_session": 3}, "2 whole plots|4 whole plots"),
        ({"whole_plots_per_session": 1, "sessions": 3}, "4 sessions"),
        ({"blocks_per_session": 5}, "6 blocks"),
        ({"shots_per_block": 3}, "blocks of 4"),
    ],
)
def test_impossible_split_plots_name_the_nearest_possible(layout: dict, nearest: str) -> None:
    trial = sample("disc_and_soak")
    changed = trial.model_copy(update={"layout": trial.layout.model_copy(update=layout)})
    with pytest.raises(PlanError, match=nearest):
        draw_schedule(changed, 1)


def test_the_nearest_possible_is_possible() -> None:
    for methods, sessions, blocks, design, layout in [
        (5, 1, 4, "incomplete blocks", {"shots_per_block": 4}),
        (9, 1, 4, "incomplete blocks", {"shots_per_block": 3}),
        (5, 1, 10, "latin square", {}),
        (5, 1, 12, "carry-over balanced", {}),
        (4, 4, 3, "complete blocks", {"longest_session_shots": 20}),
    ]:
        assert len(draw_schedule(trial_with(methods, sessions, blocks, design, **layout), 1))


def test_a_repeated_control_must_be_named() -> None:
    trial = trial_with(4, 1, 3, "complete blocks", control_shots_per_block=2)
    none = tuple(method.model_copy(update={"control": False}) for method in trial.methods)
    with pytest.raises(PlanError, match="control = true"):
        draw_schedule(trial.model_copy(update={"methods": none}), 1)


def test_a_factor_is_not_called_like_a_column() -> None:
    trial = cells(sample("four_naps"))
    factors = (*trial.factors[:2], Factor(name="block", levels=("0", "1")))
    with pytest.raises(PlanError, match="block_factor"):
        draw_schedule(trial.model_copy(update={"factors": factors}), 1)
