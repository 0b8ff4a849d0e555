"""Tables from the journal: what stands in them, corrections, readings, and safe CSV."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit import codebook
from kit.errors import DataError, TableError
from kit.shotlog import (
    correct_shot,
    log_fault_score,
    log_readings,
    log_shot,
    log_tasting,
    read_journal,
    read_log,
    read_shots,
    read_shots_csv,
    readings_table,
    withdraw,
    write_tables,
)
from kit.shotlog.spreadsheets import as_written, csv_text, neutralised
from tests.shotlog.bench import START, log_next, next_pull, small_trial


def test_the_columns_are_those_of_the_codebook_and_factors_follow(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    log_next(tmp_path, schedule)
    assert list(read_shots(tmp_path).columns) == codebook.names(codebook.SHOTS)


def test_extraction_follows_from_the_weighed_masses(tmp_path: Path):
    """9.5 % x 36 / 18 = 19.0: arithmetic of the trade notes, section 6."""
    _, schedule = small_trial(tmp_path)
    log_next(tmp_path, schedule, dose_g="18,0 g", beverage_g="36 g", tds_pct="9,5")
    shot = read_shots(tmp_path).iloc[0]
    assert (shot["ey_pct"], shot["brew_ratio"]) == (19.0, 2.0)


def test_readings_of_a_cup_are_averaged_and_kept_apart(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    log_next(tmp_path, schedule, tds_pct=None, tds_readings=["9,40", 9.50, ""])
    assert read_shots(tmp_path).iloc[0]["tds_pct"] == pytest.approx(9.45)
    readings = readings_table(read_log(tmp_path), schedule)
    assert readings["tds_pct"].tolist() == [9.4, 9.5]
    assert readings["reading"].tolist() == [1, 2]


def test_cups_measured_later_by_code_take_the_place_of_what_was_there(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    log_next(tmp_path, schedule)
    code = read_shots(tmp_path).iloc[0]["code"]
    log_readings(tmp_path, code, [9.1, 9.2, 9.3], START, "measurer")
    assert read_shots(tmp_path).iloc[0]["tds_pct"] == pytest.approx(9.2)
    readings = readings_table(read_log(tmp_path), schedule)
    assert set(readings["entered_by"]) == {"measurer"}


def test_a_correction_changes_the_table_and_erases_nothing(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    log_next(tmp_path, schedule, dose_g=17.9, note="first")
    correct_shot(tmp_path, 1, {"dose_g": "17,5", "note": None}, "misread the scale", START, "op")
    shot = read_shots(tmp_path).iloc[0]
    assert shot["dose_g"] == 17.5
    assert pd.isna(shot["note"])
    first, correction = read_journal(tmp_path).events
    assert (first.data["dose_g"], first.data["note"]) == (17.9, "first")
    assert correction.data["reason"] == "misread the scale"
    withdraw(tmp_path, correction.id, "the scale was right", START, "op")
    assert read_shots(tmp_path).iloc[0]["dose_g"] == 17.9


def test_a_withdrawn_shot_is_gone_from_the_table_and_its_pull_comes_back(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    event = log_next(tmp_path, schedule)
    withdraw(tmp_path, event.id, "never pulled", START, "op")
    with pytest.raises(DataError, match="No shot is logged"):
        read_shots(tmp_path)
    assert next_pull(tmp_path, schedule).planned_shot == event.data["planned_shot"]


def test_a_correction_that_cannot_be_true_is_refused(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    log_next(tmp_path, schedule)
    with pytest.raises(TableError, match="dose must lie between 5 and 30 g"):
        correct_shot(tmp_path, 1, {"dose_g": 175}, "typo", START, "op")
    with pytest.raises(DataError, match="There is no shot 4; the log holds 1"):
        correct_shot(tmp_path, 4, {"dose_g": 17}, "typo", START, "op")
    with pytest.raises(DataError, match="Did you mean “dose_g”"):
        correct_shot(tmp_path, 1, {"dosis_g": 17}, "typo", START, "op")


def test_faults_scored_from_the_video_stand_before_those_counted_at_the_bench(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    for _ in range(2):
        log_next(tmp_path, schedule, faults=1)
    codes = read_shots(tmp_path)["code"].tolist()
    log_fault_score(tmp_path, codes[0], 3, START, "A")
    log_fault_score(tmp_path, codes[0], 0, START, "B")
    assert read_shots(tmp_path)["faults"].tolist() == [3, 1]


def test_tastings_are_one_row_a_score(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    log_next(tmp_path, schedule)
    tasting = {"taster": "T1", "code": "417", "shot": 1, "method": "Harbour", "cup_position": 1}
    log_tasting(tmp_path, {**tasting, "scores": {"liking": 7, "bitterness": "3,5"}}, START, "T1")
    assert [path.name for path in write_tables(tmp_path)] == [
        "shots.csv",
        "readings.csv",
        "tastings.csv",
    ]
    table = pd.read_csv(tmp_path / "tastings.csv")
    assert table["score"].tolist() == [7.0, 3.5]
    assert list(table.columns) == codebook.names(codebook.TASTINGS)


def test_the_tables_are_the_same_bytes_each_time_and_read_back_the_same(tmp_path: Path):
    trial, schedule = small_trial(tmp_path)
    for note in ("=1+1", "'quoted", "a, b\nc", "-", "Größe"):
        log_next(tmp_path, schedule, note=note)
    write_tables(tmp_path)
    before = (tmp_path / "shots.csv").read_bytes()
    write_tables(tmp_path)
    assert (tmp_path / "shots.csv").read_bytes() == before
    back = read_shots_csv(tmp_path / "shots.csv", trial, schedule)
    pd.testing.assert_frame_equal(back, read_shots(tmp_path))


@given(text=st.text(max_size=20))
def test_no_text_becomes_a_formula_and_none_is_lost(text: str):
    safe = neutralised(text)
    assert not safe.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert as_written(safe) == text


def test_numbers_are_left_alone_in_csv():
    assert csv_text(pd.DataFrame({"a": [-1.5], "b": ["-1.5"]})) == "a,b\n-1.5,'-1.5\n"


def test_without_a_schedule_each_shot_names_its_method(tmp_path: Path):
    with pytest.raises(DataError, match="must name its method"):
        log_shot(tmp_path, {"dose_g": 18.0}, START, "op")
    log_shot(tmp_path, {"method": "Fjord", "ey_pct": 19.4}, START, "op")
    assert read_shots(tmp_path).iloc[0]["ey_pct"] == 19.4
