"""Rescue: what is left is planned without looking at outcomes, recorded, and its cost said."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit import codebook
from kit.errors import PlanError
from kit.schedule import draw_schedule, write_schedule
from kit.schedule.amended import current_schedule, read_amendments, write_rescue
from kit.schedule.rescue import Rescue, end_session_early, make_up_lost, open_new_bag
from kit.schedule.standing import Mishap
from tests.schedule.trials import sample, trial_with

MISHAP = Mishap("the pump stopped", datetime(2026, 5, 2, 11, 0, tzinfo=UTC), 9)
PULLED = 31  # in the middle of the third block of the second session of four_naps


def log_of(schedule: pd.DataFrame, pulled: int, lost: tuple[int, ...] = ()) -> pd.DataFrame:
    shots = schedule.iloc[:pulled].copy()
    number = shots["planned_shot"].astype(int)
    return shots.assign(status=np.where(number.isin(lost), "lost", "kept"), ey_pct=20.0)


def check(schedule: pd.DataFrame, rescue: Rescue) -> None:
    """What holds of every amended schedule."""
    amended = rescue.schedule
    assert amended["planned_shot"].is_unique
    assert amended["code"].is_unique
    for _, rows in amended.groupby("session"):
        assert rows["session_position"].is_monotonic_increasing
    study = amended[amended["role"] == "study"]
    assert (study.groupby("block")[["session", "bag", "whole_plot"]].nunique() == 1).all(axis=None)
    for _, block in study.groupby("block"):
        assert block["position"].tolist() == list(range(1, len(block) + 1))
    # What was pulled stays what it was.
    same = schedule.merge(amended, on=["planned_shot", "method", "code"], how="inner")
    assert len(same) >= PULLED
    assert list(rescue.deviations.columns) == codebook.names(codebook.DEVIATIONS)
    assert (rescue.deviations["reason"] == "the pump stopped").all()
    assert rescue.lost


@pytest.mark.parametrize("name", ["four_naps", "disc_and_soak", "seven_rivers"])
def test_every_rescue_keeps_the_promises_of_a_schedule(name: str) -> None:
    trial = sample(name)
    schedule = draw_schedule(trial, 5)
    study = schedule.iloc[:PULLED].query("role == 'study'")["planned_shot"].astype(int)
    shots = log_of(schedule, PULLED, (int(study.iloc[3]), int(study.iloc[-1])))
    for rescue in (
        open_new_bag(trial, schedule, shots, MISHAP),
        end_session_early(trial, schedule, shots, MISHAP, 0),
        end_session_early(trial, schedule, shots, MISHAP, 1),
        make_up_lost(trial, schedule, shots, MISHAP),
    ):
        check(schedule, rescue)


def test_no_outcome_can_change_the_new_plan() -> None:
    trial = sample("four_naps")
    schedule = draw_schedule(trial, 5)
    shots = log_of(schedule, PULLED, (10, 20))
    other = shots.assign(ey_pct=np.linspace(15, 25, len(shots)), faults=3, shot_time_s=99.0)
    blind = shots[["planned_shot", "status"]]
    for rescue in (open_new_bag, make_up_lost):
        plans = [rescue(trial, schedule, log, MISHAP).schedule for log in (shots, other, blind)]
        pd.testing.assert_frame_equal(plans[0], plans[1])
        pd.testing.assert_frame_equal(plans[0], plans[2])


def test_a_bag_that_runs_out_divides_the_block_under_way() -> None:
    trial = trial_with(7, 2, 4, "incomplete blocks", shots_per_block=4, study_shots_per_bag=8)
    schedule = draw_schedule(trial, 1)
    rows = schedule.query("role == 'study'")
    cut = int(rows["planned_shot"].iloc[5])  # second shot of the second block
    rescue = open_new_bag(trial, schedule, log_of(schedule, cut), MISHAP)
    study = rescue.schedule.query("role == 'study' and session == 'S1'")
    sizes = study.groupby("block", sort=False).size()
    assert sizes.tolist() == [4, 2, 2, 4, 4]
    assert study.groupby("block")["bag"].nunique().eq(1).all()
    assert len(rescue.schedule) == len(schedule)
    assert rescue.deviations["what"].tolist() == ["new bag opened within a session"]


def test_a_machine_that_fails_moves_whole_blocks_to_an_extra_session() -> None:
    trial = sample("four_naps")
    schedule = draw_schedule(trial, 5)
    shots = log_of(schedule, 33)
    moved = end_session_early(trial, schedule, shots, MISHAP, 1)
    extra = moved.schedule[moved.schedule["session"] == "X1"]
    assert extra["role"].tolist()[:3] == ["warm-up", "warm-up", "reference"]
    assert extra["role"].tolist()[-2:] == ["reference", "spare"]
    before = schedule.iloc[33:].query("session == 'S2' and role == 'study'")
    after = extra[extra["role"] == "study"]
    # Pulled in the order drawn, under the numbers and codes drawn.
    assert after["planned_shot"].tolist() == before["planned_shot"].tolist()
    assert after["code"].tolist() == before["code"].tolist()
    assert "No study shot is lost: 48 as planned" in moved.lost[0]


def test_blocks_given_up_are_counted_and_their_cost_is_the_textbook_one() -> None:
    trial = sample("four_naps")
    schedule = draw_schedule(trial, 5)
    pulled = int(schedule.query("session == 'S2' and role == 'study'")["planned_shot"].iloc[7])
    rescue = end_session_early(trial, schedule, log_of(schedule, pulled), MISHAP, 0)
    assert rescue.deviations["what"].tolist() == ["block given up"] * 2
    assert "40 instead of 48" in rescue.lost[0]
    # Standard errors go as one over the root of the shots: √(12/10) − 1 = 9.5 %.
    assert "about 10 % larger" in rescue.lost[1]


def test_lost_shots_are_made_up_for_in_a_block_of_their_own() -> None:
    trial = sample("four_naps")
    schedule = draw_schedule(trial, 5)
    study = schedule.query("role == 'study'")
    lost = [int(study["planned_shot"].iloc[i]) for i in (1, 6)]
    names = set(study.loc[study["planned_shot"].isin(lost), "method"])
    rescue = make_up_lost(trial, schedule, log_of(schedule, 30, tuple(lost)), MISHAP)
    block = rescue.schedule.query("block == 'M1'")
    assert set(block["method"]) == names
    assert block["session"].unique().tolist() == ["S3"]
    assert rescue.schedule["role"].iloc[-1] == "spare"
    with pytest.raises(PlanError, match="not yet made up"):
        make_up_lost(trial, schedule, log_of(schedule, 30, tuple(lost)), MISHAP, lost)


def test_a_single_lost_shot_gets_another_beside_it() -> None:
    trial = sample("four_naps")
    schedule = draw_schedule(trial, 5)
    for method in ("Thaw", "Harbour"):
        number = int(
            schedule.query("role == 'study' and method == @method")["planned_shot"].iloc[0]
        )
        done = log_of(schedule, len(schedule), (number,))
        block = make_up_lost(trial, schedule, done, MISHAP).schedule.query("block == 'M1'")
        assert len(block) == 2
        assert block["method"].nunique() == 2
        assert method in block["method"].tolist()
        assert block["session"].unique().tolist() == ["X1"]


def test_lost_shots_of_two_settings_are_made_up_for_apart() -> None:
    trial = sample("disc_and_soak")
    schedule = draw_schedule(trial, 5)
    study = schedule.query("role == 'study' and session == 'S1'")
    lost = tuple(
        int(rows["planned_shot"].iloc[i])
        for _, rows in study.groupby("temperature")
        for i in (0, 1)
    )
    rescue = make_up_lost(trial, schedule, log_of(schedule, PULLED, lost), MISHAP)
    made = rescue.schedule[rescue.schedule["block"].str.startswith("M")]
    assert made.groupby("block")["temperature"].nunique().tolist() == [1, 1]
    assert (made["whole_plot"] == made["block"]).all()


def test_nothing_is_rescued_before_the_first_shot_or_after_the_last() -> None:
    trial = sample("four_naps")
    schedule = draw_schedule(trial, 5)
    with pytest.raises(PlanError, match="draw a new schedule"):
        open_new_bag(trial, schedule, log_of(schedule, 0), MISHAP)
    with pytest.raises(PlanError, match="no shot left"):
        open_new_bag(trial, schedule, log_of(schedule, len(schedule)), MISHAP)
    with pytest.raises(PlanError, match="0 or more"):
        end_session_early(trial, schedule, log_of(schedule, 9), MISHAP, -1)


def test_the_amended_schedule_stands_beside_the_sealed_one(tmp_path: Path) -> None:
    trial = sample("four_naps")
    schedule = draw_schedule(trial, 5)
    write_schedule(schedule, tmp_path)
    sealed = (tmp_path / "schedule.csv").read_bytes()
    pd.testing.assert_frame_equal(current_schedule(tmp_path), schedule)
    first = end_session_early(trial, schedule, log_of(schedule, 33), MISHAP, 1)
    write_rescue(first, tmp_path)
    second = make_up_lost(trial, current_schedule(tmp_path), log_of(schedule, 33, (10,)), MISHAP)
    write_rescue(second, tmp_path)
    assert (tmp_path / "schedule.csv").read_bytes() == sealed
    pd.testing.assert_frame_equal(current_schedule(tmp_path), second.schedule)
    assert read_amendments(tmp_path)["what"].tolist() == [
        "block moved",
        "block moved",
        "lost shot made up for",
    ]
