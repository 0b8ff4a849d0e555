"""The panel's cups: codes of their own, balanced orders, and sets one can answer."""

from pathlib import Path
from shutil import copy

import pandas as pd
import pytest

from kit.errors import PlanError
from kit.schedule import draw_schedule, make_schedule
from kit.schedule.tasting import discrimination_sets, tasting_orders, write_tasting
from kit.trial import Trial
from tests.schedule.trials import SAMPLES, sample


@pytest.fixture
def trial() -> Trial:
    """One sitting."""
    return with_tasting(sample("seven_rivers"), sittings=1)


def with_tasting(trial: Trial, **changes: object) -> Trial:
    return trial.model_copy(update={"tasting": trial.tasting.model_copy(update=changes)})


def test_every_taster_gets_every_method_once_in_an_order_of_their_own(trial: Trial) -> None:
    orders = tasting_orders(trial, 1)
    assert len(orders) == 8 * 7
    assert (pd.crosstab(orders["taster"], orders["method"]) == 1).all(axis=None)
    rows = orders.groupby("taster")["method"].agg("|".join)
    assert rows.is_unique
    places = pd.crosstab(orders["method"], orders["cup_position"])
    assert places.to_numpy().max() <= 2


def test_no_code_is_used_twice_in_the_whole_trial(trial: Trial) -> None:
    schedule = draw_schedule(trial, 1)
    orders = tasting_orders(trial, 1, schedule["code"].tolist())
    sets = discrimination_sets(trial, 1, [*schedule["code"], *orders["code"]])
    samples = sets.loc[sets["part"] == "sample", "code"]
    everything = [*schedule["code"], *orders["code"], *samples]
    assert len(everything) == len(set(everything)) == 140 + 56 + 48


def test_hidden_duplicates_are_marked_for_the_analyst(trial: Trial) -> None:
    orders = tasting_orders(with_tasting(trial, cups_per_sitting=9), 2)
    assert (orders.groupby("taster")["duplicate"].apply(lambda d: (d == "yes").sum()) == 2).all()
    for _, cups in orders.groupby(["taster", "sitting"]):
        twice = cups["method"].value_counts()
        assert set(twice[twice == 2].index) == set(cups.loc[cups["duplicate"] == "yes", "method"])


def test_duo_trio_sets_use_the_four_orders_six_times_each(trial: Trial) -> None:
    sets = discrimination_sets(trial, 3)
    orders = sets.groupby(["taster", "set"])["method"].agg("|".join).value_counts()
    assert orders.to_dict() == dict.fromkeys(
        ["Aln|Aln|Glen", "Aln|Glen|Aln", "Glen|Aln|Glen", "Glen|Glen|Aln"], 6
    )
    for _, cups in sets.groupby(["taster", "set"]):
        reference = cups.loc[cups["part"] == "reference", "method"].item()
        assert cups.loc[cups["answer"] == "yes", "method"].tolist() == [reference]
        assert cups.loc[cups["part"] == "reference", "code"].item() == ""


def test_the_answer_of_a_triangle_is_the_odd_cup(trial: Trial) -> None:
    sets = discrimination_sets(with_tasting(trial, discrimination="triangle"), 4)
    for _, cups in sets.groupby(["taster", "set"]):
        odd = cups["method"].value_counts().idxmin()
        assert cups.loc[cups["answer"] == "yes", "method"].tolist() == [odd]


def test_a_paired_set_has_two_cups_and_no_right_answer(trial: Trial) -> None:
    sets = discrimination_sets(with_tasting(trial, discrimination="paired"), 5)
    assert (sets.groupby(["taster", "set"]).size() == 2).all()
    assert (sets["answer"] == "").all()


def test_the_same_seed_gives_the_same_cups(trial: Trial) -> None:
    pd.testing.assert_frame_equal(tasting_orders(trial, 6), tasting_orders(trial, 6))
    assert not tasting_orders(trial, 6).equals(tasting_orders(trial, 7))


def test_more_tasters_than_cups_are_refused_with_the_nearest_possible(trial: Trial) -> None:
    with pytest.raises(PlanError, match=r"more tasters than cups.*nearest possible: 5 tasters"):
        tasting_orders(with_tasting(trial, portions_per_shot=5), 1)


def test_a_trial_without_tasters_or_test_says_what_to_fill_in(trial: Trial) -> None:
    with pytest.raises(PlanError, match=r"tasting\.tasters"):
        tasting_orders(with_tasting(trial, tasters=()), 1)
    with pytest.raises(PlanError, match=r"tasting\.discrimination"):
        discrimination_sets(with_tasting(trial, discrimination=""), 1)


def test_the_cups_are_written_beside_the_schedule(tmp_path: Path) -> None:
    copy(SAMPLES / "seven_rivers" / "trial.toml", tmp_path)
    make_schedule(tmp_path, 8)
    written = write_tasting(tmp_path, 8)
    assert [path.name for path in written] == ["tasting_orders.csv", "tasting_sets.csv"]
    assert len(pd.read_csv(written[0])) == 8 * 7 * 4
