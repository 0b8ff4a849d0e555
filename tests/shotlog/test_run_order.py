"""What comes next, and the declared rule for a lost shot."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kit.errors import DataError
from kit.shotlog import (
    fold,
    is_complete,
    log_session_event,
    log_shot,
    new_event,
    read_log,
    read_shots,
    run_order,
    skip_pull,
    withdraw,
)
from tests.shotlog.bench import START, log_next, next_pull, small_trial


def pull_until(folder: Path, schedule, block: str, place: int) -> None:
    """Log shots until the study shot at ``place`` of ``block`` is next."""
    while True:
        pull = next_pull(folder, schedule)
        if pull.block == block and pull.role == "study" and pull.plan["position"] == place:
            return
        log_next(folder, schedule)


def blocks_of(schedule) -> list[str]:
    return list(dict.fromkeys(schedule.loc[schedule["role"] == "study", "block"]))


def test_without_accidents_the_order_is_that_of_the_schedule(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    while not is_complete(schedule, read_log(tmp_path)):
        log_next(tmp_path, schedule)
    shots = read_shots(tmp_path)
    planned = schedule[schedule["role"] != "spare"]
    assert shots["planned_shot"].tolist() == planned["planned_shot"].tolist()
    study = shots[shots["role"] == "study"]
    assert (
        study["position"].tolist() == planned.loc[planned["role"] == "study", "position"].tolist()
    )
    assert set(shots["status"]) == {"kept"}


def test_a_spilt_shot_is_replaced_by_the_spare_at_the_end_of_the_same_block(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    block = blocks_of(schedule)[0]
    pull_until(tmp_path, schedule, block, 2)
    lost = next_pull(tmp_path, schedule)
    log_next(tmp_path, schedule, reason="spill")
    assert read_shots(tmp_path).iloc[-1]["status"] == "lost"  # nothing has replaced it yet
    order = [
        pull for pull in run_order(schedule, read_log(tmp_path)).to_come if pull.block == block
    ]
    assert [pull.replaces for pull in order] == [None, None, lost.planned_shot]
    assert order[-1].method == lost.method
    pull_until_spare = next_pull(tmp_path, schedule)
    while pull_until_spare.replaces is None:
        log_next(tmp_path, schedule)
        pull_until_spare = next_pull(tmp_path, schedule)
    log_next(tmp_path, schedule)
    shots = read_shots(tmp_path).set_index("planned_shot")
    spare = shots.loc[order[-1].planned_shot]
    assert shots.loc[lost.planned_shot, "status"] == "replaced"
    assert (spare["role"], spare["status"], spare["block"]) == ("study", "kept", block)
    assert spare["method"] == lost.method
    assert spare["position"] == 5
    assert spare["replaces"] == lost.planned_shot
    assert spare["code"] != shots.loc[lost.planned_shot, "code"]


def test_without_a_spare_left_a_second_lost_shot_stays_lost(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    block = blocks_of(schedule)[0]
    pull_until(tmp_path, schedule, block, 1)
    log_next(tmp_path, schedule, reason="spill")
    second = next_pull(tmp_path, schedule).planned_shot
    log_next(tmp_path, schedule, reason="spill")
    order = run_order(schedule, read_log(tmp_path))
    assert order.unreplaced == (second,)
    assert sum(pull.replaces is not None for pull in order.to_come) == 1


def test_a_lost_spare_is_replaced_by_the_next_one_and_stands_where_the_first_shot_stood(
    tmp_path: Path,
):
    _, schedule = small_trial(tmp_path, spares_per_session=2)
    block = blocks_of(schedule)[0]
    pull_until(tmp_path, schedule, block, 4)
    lost = next_pull(tmp_path, schedule)
    log_next(tmp_path, schedule, reason="spill")
    first = next_pull(tmp_path, schedule)
    log_next(tmp_path, schedule, reason="spill")
    second = next_pull(tmp_path, schedule)
    log_next(tmp_path, schedule)
    shots = read_shots(tmp_path).set_index("planned_shot")
    assert (first.replaces, second.replaces) == (lost.planned_shot, first.planned_shot)
    assert shots.loc[[lost.planned_shot, first.planned_shot], "status"].tolist() == ["replaced"] * 2
    assert (shots.loc[second.planned_shot, ["method", "block"]] == [lost.method, block]).all()


def test_once_a_later_block_has_begun_a_shot_is_no_longer_replaced(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    first, second = blocks_of(schedule)[:2]
    pull_until(tmp_path, schedule, second, 2)
    in_first = set(schedule.loc[schedule["block"] == first, "planned_shot"])
    lost = next(shot for shot in read_log(tmp_path).shots if shot.planned_shot in in_first)
    data = {"target": lost.id, "changes": {"reason": "spill"}, "reason": "seen on video"}
    log = read_log(tmp_path)
    events = [new_event("shot", dict(shot.entered), START, "op", shot.id) for shot in log.shots]
    changed = fold([*events, new_event("correction", data, START, "op")])
    assert run_order(schedule, changed).unreplaced == (lost.planned_shot,)


def test_warm_up_and_reference_shots_are_never_replaced(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    assert next_pull(tmp_path, schedule).role != "study"
    log_next(tmp_path, schedule, reason="spill")
    assert all(pull.replaces is None for pull in run_order(schedule, read_log(tmp_path)).to_come)


def test_a_skipped_pull_is_passed_over_and_comes_back_when_the_skip_is_withdrawn(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    skipped = next_pull(tmp_path, schedule).planned_shot
    event = skip_pull(tmp_path, skipped, "machine cold", START, "op")
    assert next_pull(tmp_path, schedule).planned_shot != skipped
    withdraw(tmp_path, event.id, "warm after all", START, "op")
    assert next_pull(tmp_path, schedule).planned_shot == skipped


def test_ending_a_session_moves_on_to_the_next(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    first, second = dict.fromkeys(schedule["session"])
    log_next(tmp_path, schedule)
    event = log_session_event(tmp_path, "session end", first, START, "op", "out of milk and time")
    assert next_pull(tmp_path, schedule).session == second
    withdraw(tmp_path, event.id, "went on after lunch", START, "op")
    assert next_pull(tmp_path, schedule).session == first


def test_the_same_pull_is_never_logged_twice(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    pull = next_pull(tmp_path, schedule)
    log_next(tmp_path, schedule)
    with pytest.raises(DataError, match="in the log already, perhaps from another window"):
        log_shot(tmp_path, {"planned_shot": pull.planned_shot, "dose_g": 17.5}, START, "op")
    assert len(read_log(tmp_path).shots) == 1


def test_a_spare_nobody_waits_for_cannot_be_logged(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    spare = int(schedule.loc[schedule["role"] == "spare", "planned_shot"].iloc[0])
    with pytest.raises(DataError, match="no lost shot is waiting for it"):
        log_shot(tmp_path, {"planned_shot": spare, "dose_g": 17.5}, START, "op")
    with pytest.raises(DataError, match="is not in the schedule"):
        log_shot(tmp_path, {"planned_shot": 999, "dose_g": 17.5}, START, "op")


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(fates=st.lists(st.sampled_from(["kept", "kept", "kept", "spill", "skip"]), max_size=40))
def test_whatever_happens_every_pull_is_settled_once_and_spares_keep_to_their_block(
    fates: list[str], tmp_path_factory: pytest.TempPathFactory
):
    folder = tmp_path_factory.mktemp("trial")
    _, schedule = small_trial(folder, spares_per_session=2)
    events, number = [], 0
    while (pull := run_order(schedule, fold(events)).next_pull) is not None:
        fate = fates[number] if number < len(fates) else "kept"
        number += 1
        assert number <= len(schedule)
        if fate == "skip":
            events.append(new_event("skip", {"planned_shot": pull.planned_shot}, START, "op"))
            continue
        data = {"planned_shot": pull.planned_shot, "replaces": pull.replaces}
        data |= {"reason": "spill"} if fate == "spill" else {}
        events.append(new_event("shot", data, START, "op"))
    log = fold(events)
    blocks = schedule.set_index("planned_shot")["block"]
    pulled = [log.stands_for(shot) for shot in log.shots]
    study_blocks = [blocks[number] for number in pulled if isinstance(blocks[number], str)]
    study_blocks = [block for block in study_blocks if block]
    changes = sum(a != b for a, b in itertools.pairwise(study_blocks))
    assert changes == len(set(study_blocks)) - (1 if study_blocks else 0)  # each block is one run
