"""Sheets and rescue from the command line: the seal untouched, nothing of the outcomes read."""

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from kit.cli import main
from kit.shotlog import log_shot, read_log, run_order, schedule_of

NOW = datetime.fromisoformat("2026-05-07T10:00:00+01:00")


@pytest.fixture
def pulled(tmp_path: Path) -> Path:
    """A trial sealed, nine pulls made, the seventh spilt and replaced by the session's spare."""
    folder = tmp_path / "mine"
    assert main(["new", str(folder)]) == 0
    assert main(["schedule", str(folder), "--seed", "5"]) == 0
    assert main(["freeze", str(folder)]) == 0
    for number in range(9):
        pull = run_order(schedule_of(folder), read_log(folder)).next_pull
        entry = {"planned_shot": pull.planned_shot, "dose_g": 17.5, "beverage_g": 36.0}
        if number == 6:
            entry = {"planned_shot": pull.planned_shot, "reason": "spill"}
        log_shot(folder, entry, NOW + timedelta(minutes=5 * number), "P1")
    return folder


def test_a_session_that_ends_early_moves_its_blocks_although_a_spare_was_used(
    pulled: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sealed = (pulled / "schedule.csv").read_bytes()
    before = run_order(schedule_of(pulled), read_log(pulled)).to_come
    capsys.readouterr()
    assert main(["rescue", str(pulled), "session", "--reason", "grinder jammed"]) == 0
    said = capsys.readouterr().out
    assert said.count("block moved") == 3
    assert (pulled / "schedule.csv").read_bytes() == sealed
    after = run_order(schedule_of(pulled), read_log(pulled))
    assert after.next_pull.session == "S2"
    study = [pull for pull in after.to_come if pull.role == "study"]
    assert len(study) == len([pull for pull in before if pull.role == "study"])
    assert "grinder jammed" in (pulled / "amendments.csv").read_text(encoding="utf-8")


def test_rescue_needs_a_reason(pulled: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rescue", str(pulled), "bag", "--reason", " "]) == 2
    assert "Say why" in capsys.readouterr().err
    assert not (pulled / "amendments.csv").exists()


def test_sheets_are_written_for_everybody(pulled: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheets", str(pulled), "--paper", "Letter"]) == 0
    assert (pulled / "log_sheet.xlsx").exists()
    readings = (pulled / "sheets" / "readings.html").read_text(encoding="utf-8")
    # The measurer's sheet shows codes, never methods.
    assert "Harbour" not in readings
    assert "Seal " in readings
    assert "log_sheet.csv" in capsys.readouterr().out


def test_the_log_is_exported_and_every_path_is_said(
    pulled: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main(["export", str(pulled), "--json"]) == 0
    files = [Path(name) for name in json.loads(capsys.readouterr().out)["files"]]
    assert {"shots.csv", "log.xlsx", "shots.schema.json"} <= {path.name for path in files}
    assert all(path.exists() for path in files)


def test_an_empty_log_is_not_exported(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", str(tmp_path / "mine")]) == 0
    assert main(["export", str(tmp_path / "mine")]) == 2
    assert "nothing to export" in capsys.readouterr().err
