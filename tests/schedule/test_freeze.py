"""The seal: what it holds, what it refuses, and that any change breaks it."""

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from kit.errors import DataError, PlanError
from kit.files import sha256_of
from kit.schedule import (
    draw_schedule,
    freeze_trial,
    read_freeze,
    verify_freeze,
    write_schedule,
)
from kit.trial import read_trial

SAMPLE = Path(__file__).parents[2] / "sample_sessions" / "four_naps"
NOON = datetime(2026, 5, 9, 12, 0, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copy(SAMPLE / "trial.toml", tmp_path)
    write_schedule(draw_schedule(read_trial(tmp_path), 42), tmp_path)
    return tmp_path


def test_a_seal_names_seed_stream_time_and_checksums(folder: Path) -> None:
    freeze = freeze_trial(folder, NOON, 42)
    assert read_freeze(folder) == freeze
    assert freeze.seed == 42
    assert freeze.bit_generator == "PCG64"
    assert freeze.numpy == np.__version__
    assert freeze.at == "2026-05-09T12:00:00+00:00"
    assert freeze.files["schedule.csv"] == sha256_of((folder / "schedule.csv").read_bytes())
    assert len(freeze.short) == 11
    assert freeze.short[5] == "-"
    assert verify_freeze(folder) == []


def test_two_plans_have_two_seals(folder: Path) -> None:
    one = freeze_trial(folder, NOON, 42)
    (folder / "freeze.json").unlink()
    write_schedule(draw_schedule(read_trial(folder), 43), folder)
    assert freeze_trial(folder, NOON, 43).short != one.short


def test_a_plan_is_sealed_once_and_its_schedule_never_replaced(folder: Path) -> None:
    freeze_trial(folder, NOON, 42)
    with pytest.raises(PlanError, match="sealed"):
        freeze_trial(folder, NOON, 42)
    with pytest.raises(PlanError, match="sealed"):
        write_schedule(draw_schedule(read_trial(folder), 1), folder)


def test_a_plan_is_not_sealed_after_the_first_shot(folder: Path) -> None:
    (folder / "shots.jsonl").write_text('{"shot": 1}\n')
    with pytest.raises(PlanError, match="before the first shot"):
        freeze_trial(folder, NOON, 42)


def test_a_schedule_edited_by_hand_is_not_sealed(folder: Path) -> None:
    path = folder / "schedule.csv"
    path.write_text(path.read_text().replace("Fjord", "Thaw", 1))
    with pytest.raises(PlanError, match="changed after the draw"):
        freeze_trial(folder, NOON, 42)


def test_the_seed_must_be_known_and_the_time_must_mean_one_moment(folder: Path) -> None:
    with pytest.raises(PlanError, match="seed"):
        freeze_trial(folder, NOON)
    with pytest.raises(PlanError, match="time zone"):
        freeze_trial(folder, NOON.replace(tzinfo=None), 42)


@pytest.mark.parametrize("name", ["trial.toml", "schedule.csv"])
def test_any_later_change_is_found(folder: Path, name: str) -> None:
    freeze_trial(folder, NOON, 42)
    with (folder / name).open("a") as stream:
        stream.write("\n# later\n")
    assert verify_freeze(folder) == [f"{name} was changed after it was sealed."]
    (folder / name).unlink()
    assert verify_freeze(folder) == [f"{name} was sealed and is not there any more."]


def test_a_changed_or_damaged_seal_is_found(folder: Path) -> None:
    freeze_trial(folder, NOON, 42)
    path = folder / "freeze.json"
    values = json.loads(path.read_text())
    path.write_text(json.dumps({**values, "at": "2026-05-01T12:00:00+00:00"}))
    assert verify_freeze(folder) == ["freeze.json itself was changed after sealing."]
    path.write_text("{")
    with pytest.raises(DataError, match="damaged"):
        read_freeze(folder)
