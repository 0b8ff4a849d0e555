"""What a panel can tell: closed forms, standards, and the rules of the analysis it plans for."""

import math

import pytest

from kit.analysis.discrimination import discrimination_test
from kit.errors import PlanError
from kit.planning.discrimination_power import difference_power
from kit.planning.taste_answers import SHARE_TOO_FEW, taste_sentences, taste_table
from kit.planning.taste_layout import taste_contrast
from kit.planning.taste_power import CUP_SD, SHOT_SD, TASTER_METHOD_SD
from kit.trial import Trial
from tests.planning.trials import default_trial, make_trial


def tasted_trial(methods: int = 4, tasters: int = 8, **tasting) -> Trial:
    """A trial whose tasters score liking from 1 to 9."""
    values = make_trial(methods, sessions=2, blocks_per_session=5).model_dump(
        mode="json", exclude_none=True
    )
    values["outcomes"].append({"measure": "liking", "aspect": "score", "smallest_difference": 1})
    values["tasting"] |= {
        "tasters": [f"T{i + 1}" for i in range(tasters)],
        "attributes": [{"name": "liking", "low": 1, "high": 9}],
        "cups_per_sitting": methods,
        "sittings": 3,
        **tasting,
    }
    return Trial.model_validate(values)


def liking(trial: Trial):
    return next(outcome for outcome in trial.outcomes if outcome.aspect == "score")


@pytest.mark.parametrize("tasters", [4, 8, 16])
def test_scores_are_as_uncertain_as_shared_shots_and_tasters_make_them(tasters):
    # Tasters × methods × shots, shots nested in methods and shared by all tasters: the variance
    # of a method's mean is σ²_tm/T + σ²_shot/m + σ²/(Tm), and its degrees of freedom follow from
    # the mean squares (quasi-F: Satterthwaite 1946, Biometrics 2:110). The place of a cup is
    # adjusted for, which costs next to nothing where orders are balanced.
    trial, sittings, methods = tasted_trial(tasters=tasters), 3, 4
    found = taste_contrast(trial, liking(trial), tasters)
    cups = sittings * tasters
    left = CUP_SD**2 - SHOT_SD**2
    squares = {
        "taster by method": (left + sittings * TASTER_METHOD_SD**2, (methods - 1) * (tasters - 1)),
        "shot": (left + tasters * SHOT_SD**2, methods * (sittings - 1)),
    }
    variance = (sum(square for square, _ in squares.values()) - left) / cups
    assert found.se == pytest.approx(math.sqrt(2 * variance), rel=0.01)
    spare = (left / cups) ** 2 / (methods * (sittings - 1) * (tasters - 1))
    df = variance**2 / (sum((s / cups) ** 2 / n for s, n in squares.values()) + spare)
    assert found.df == pytest.approx(df, rel=0.15)


def test_more_tasters_of_the_same_few_shots_do_not_help_as_more_sittings_do():
    trial = tasted_trial()
    more_tasters = taste_contrast(trial, liking(trial), 16)
    longer = tasted_trial(sittings=6)
    more_sittings = taste_contrast(longer, liking(longer), 8)
    assert more_sittings.se < more_tasters.se


def test_a_wider_scale_scales_the_guess():
    wide = tasted_trial(attributes=[{"name": "liking", "low": 0, "high": 100}])
    narrow = tasted_trial()
    ratio = taste_contrast(wide, liking(wide), 8).se / taste_contrast(narrow, liking(narrow), 8).se
    assert ratio == pytest.approx(100 / 8)


def test_telling_apart_is_planned_by_the_rules_by_which_it_is_read():
    trial = tasted_trial(discrimination="triangle", pair=["m1", "m2"], sets_per_taster=2)
    table = taste_table(trial).table.set_index(["kind", "tasters"])
    assert table.loc[("told apart", 8), "chance"] == difference_power("triangle", 16, 0.5)
    # Similarity: the chance that as few are right as the analysis needs for its upper limit to
    # lie below the share, when all guess (by enumeration over the reading of the analysis).
    shown = sum(
        math.comb(16, right) * (1 / 3) ** right * (2 / 3) ** (16 - right)
        for right in range(17)
        if discrimination_test(right, 16, "triangle").most_discriminators <= SHARE_TOO_FEW
    )
    assert table.loc[("similar", 8), "chance"] == pytest.approx(shown, abs=1e-9)
    assert table.loc[("told apart", 8), "reliability"] == "rough"  # two sets by one taster
    assert table.loc[("similar", 8), "reliability"] == "exact"


def test_own_panel_is_marked_and_said():
    trial = tasted_trial(tasters=5)
    table = taste_table(trial).table
    assert set(table.loc[table["own"], "tasters"]) == {5}
    (sentence,) = taste_sentences(trial)
    assert sentence.startswith("Liking: a difference of 1.0 in the mean score")
    assert taste_table(default_trial()) is None
    assert taste_sentences(default_trial()) == []


def test_one_shot_for_all_is_refused_as_the_analysis_refuses_it():
    trial = tasted_trial(sittings=1)
    table = taste_table(trial)
    assert (table.table["chance"] == 0).all()
    assert any("share one shot of each method" in remark for remark in table.remarks)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda t: taste_contrast(t, liking(t), 1), "cannot speak for others"),
        (lambda t: taste_contrast(t, liking(t), 0), "at least 1"),
        (lambda t: taste_contrast(t, liking(t), 10**9), "cannot be done"),
        (lambda t: taste_contrast(t, liking(t), 4000), "plans go up to"),
        (lambda t: taste_contrast(t, t.primary, 8), "No taster is asked"),
    ],
)
def test_bad_panels_are_refused_in_words(call, words):
    with pytest.raises(PlanError, match=words):
        call(tasted_trial())


def test_a_panel_of_nobody_or_too_many_is_said():
    assert "Nobody tastes yet" in taste_table(tasted_trial(tasters=0)).remarks[0]
    crowd = taste_table(tasted_trial(tasters=12))
    assert "A shot serves 8 tasters" in crowd.remarks[0]
    unasked = taste_table(tasted_trial(attributes=[]))
    assert any("No taster is asked for “liking”" in remark for remark in unasked.remarks)
