"""What stands beside the planned outcomes: the draw repeated, and taste beside extraction."""

import numpy as np
import pandas as pd
import pytest

from kit.analysis.designed_model import study_shots
from kit.analysis.supplements.claim import every_variant, redrawn_schedules
from kit.analysis.supplements.consequences import shot_time
from kit.analysis.supplements.given import Given
from kit.analysis.supplements.taste import against_extraction, second_looks
from kit.analysis.trial_analysis import analyse_outcomes
from kit.schedule import read_schedule
from kit.shotlog import read_shots
from kit.trial import Outcome, read_trial

LIKING = Outcome(measure="liking", aspect="score", smallest_difference=1.0)


def given_of(folder, *, tastings=None, outcomes=()) -> Given:
    trial = read_trial(folder)
    trial = trial.model_copy(update={"outcomes": (*trial.outcomes, *outcomes)})
    shots = read_shots(folder)
    analysis = analyse_outcomes(trial, shots, tastings)
    study, _ = study_shots(shots, trial)
    return Given(
        trial, shots, study, tastings, read_schedule(folder), analysis.results,
        np.random.default_rng(3),
    )  # fmt: skip


def test_a_factorial_is_drawn_again_by_its_effects(samples):
    given = given_of(samples / "disc_and_soak")
    table, said = redrawn_schedules(given)
    primary = given.primary.differences.set_index(["a", "b"])
    for row in table.itertuples():
        planned = primary.loc[(row.a, row.b)]
        assert row.p_model == planned["p"]
        # Equal weights of the four cells estimate the same effect, a little less precisely.
        assert row.estimate == pytest.approx(planned["estimate"], abs=planned["se"] / 2)
    assert set(table["a"]) == {"disc: one", "soak: 8 s", "disc with soak"}
    assert "disagrees with the model" in said
    assert "No comparison disagrees" in said
    assert "temperature" in said


def test_pairs_are_drawn_again_by_name(samples):
    given = given_of(samples / "four_naps")
    table, _ = redrawn_schedules(given)
    assert len(table) == 6
    assert table["p_model"].notna().all()


def test_shot_time_that_follows_from_the_method_is_never_adjusted_for(samples):
    """The soak adds 7 s: adjusting for shot time would credit it with extraction of its own."""
    table, said = shot_time(given_of(samples / "disc_and_soak"))
    assert "depends on the method (p < 0.001)" in said
    assert "another question" in said
    moved = table.set_index(["a", "b"])
    gap = (moved["adjusted"] - moved["estimate"]).abs()
    assert gap.idxmax() == ("soak: 8 s", "soak: 0 s")
    _, said = shot_time(given_of(samples / "four_naps"))
    assert "shows no dependence" in said


def test_where_spreads_differ_an_sd_for_each_method_is_set_beside_the_verdict(samples):
    """Thaw scatters more: without it, Fjord and Cellar are compared by their own small scatter."""
    _, said = every_variant(given_of(samples / "four_naps"))
    assert "one SD for all fits none of them well" in said
    assert "Fjord and Cellar “different”" in said
    _, said = every_variant(given_of(samples / "disc_and_soak"))
    assert "one SD for all" not in said


def cups_of_shots(given: Given, slope: float, rng: np.random.Generator) -> pd.DataFrame:
    """Two tasters score every study shot; liking follows a shot's extraction within methods."""
    study = given.study
    centred = study["ey_pct"] - study.groupby("method", observed=True)["ey_pct"].transform("mean")
    rows = [
        {"taster": taster, "sitting": "1", "cup_position": 1, "shot": shot, "method": str(method),
         "attribute": "liking", "score": round(5 + slope * dev + rng.normal(0, 0.3), 1)}
        for taster in ("T1", "T2")
        for shot, method, dev in zip(study["shot"], study["method"], centred, strict=True)
    ]  # fmt: skip
    return pd.DataFrame(rows)


def test_taste_and_extraction_within_methods_are_told_where_cups_name_shots(samples):
    folder = samples / "seven_rivers"
    plain = given_of(folder)
    cups = cups_of_shots(plain, -2.0, np.random.default_rng(5))
    given = given_of(folder, tastings=cups, outcomes=(LIKING,))
    _, said = against_extraction(LIKING)(given)
    within = float(
        said.split("Among shots of one method, by r = ")[1].split(" ")[0].replace("−", "-")
    )
    assert within < -0.8
    assert "shots)" in said
    _, looked = second_looks(LIKING)(given)
    assert "Tasters shared shots" in looked
