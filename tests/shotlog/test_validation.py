"""What is wrong with a table: each fault of the list, said with file, row, column, remedy."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from kit.errors import DataError, TableError
from kit.shotlog import read_shots, read_shots_csv, validate_shots, write_tables
from kit.shotlog.validation import read_csv_as_text
from tests.shotlog.bench import START, log_next, small_trial


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("trial")
    trial, schedule = small_trial(folder)
    for number in range(6):
        log_next(folder, schedule, note=f"n{number}")
    write_tables(folder)
    return folder, trial, schedule


def complaints_after(bench, row: int, column: str, text: str, tmp_path: Path) -> list[str]:
    """The sentences about ``shots.csv`` with one cell written otherwise (row 2 is the first)."""
    folder, trial, schedule = bench
    table = read_csv_as_text(folder / "shots.csv")
    table.loc[row - 2, column] = text
    found = validate_shots(table, trial, schedule, START - timedelta(hours=1))
    return [complaint.sentence() for complaint in found]


def test_the_table_as_written_has_nothing_wrong(bench):
    folder, trial, schedule = bench
    assert validate_shots(read_shots(folder), trial, schedule) == []
    assert validate_shots(read_csv_as_text(folder / "shots.csv"), trial, schedule) == []


@pytest.mark.parametrize("text", ["17,5 g", " 17.5g", "17,50"])
def test_a_dose_as_people_write_it_is_read_as_meant(bench, text: str, tmp_path: Path):
    folder, trial, schedule = bench
    table = read_csv_as_text(folder / "shots.csv")
    table.loc[3, "dose_g"] = text
    path = tmp_path / "shots.csv"
    table.to_csv(path, index=False)
    assert read_shots_csv(path, trial, schedule)["dose_g"].tolist() == [17.5] * 6


@pytest.mark.parametrize(
    ("column", "text", "sentence"),
    [
        (
            "dose_g",
            "185",
            "shots.csv, row 5, column dose_g: dose must lie between 5 and 30 g (found: 185). "
            "Write a number, for example 18.5 (in g), or leave the cell empty if it is not known.",
        ),
        ("dose_g", "1.850,0", "“1.850,0” can be read in more than one way"),
        ("tds_pct", "", "row 5, column tds_pct: TDS is missing, so this shot has no extraction"),
        ("method", "Fyord", "row 5, column method: this method is not in the trial (found: Fyord)"),
        ("method", "Fyord", "Did you mean “Fjord”?"),
        ("shot", "2", "row 5, column shot: shot 2 stands in row 3 already"),
        ("planned_shot", "77", "row 5, column planned_shot: the schedule has no such planned shot"),
        ("pulled_at", "2026-05-01T09:00:00+00:00", "pulled before the plan was frozen"),
        ("pulled_at", "2026-05-02T09:00", "this time has no time zone"),
        ("pulled_at", "yesterday", "this is no time (found: yesterday)"),
        ("status", "gone", "this is no status (found: gone). Known are: kept, replaced, lost."),
        ("status", "lost", "this shot is marked lost without a reason"),
        ("faults", "1.5", "this must be a whole number (found: 1.5)"),
        ("ey_pct", "25", "this is not what TDS × beverage / dose gives (19.34)"),
        ("beverage_g", "5", "give a brew ratio that cannot be (found: 1 : 0.29)"),
    ],
)
def test_each_fault_is_said_where_it_is(bench, column, text, sentence, tmp_path: Path):
    said = complaints_after(bench, 5, column, text, tmp_path)
    assert any(sentence in one for one in said), said


def test_a_reason_excuses_a_missing_reading(bench, tmp_path: Path):
    folder, trial, schedule = bench
    table = read_csv_as_text(folder / "shots.csv")
    table.loc[3, ["tds_pct", "ey_pct", "reason"]] = ["", "", "sample spilt"]
    assert validate_shots(table, trial, schedule) == []


def test_all_faults_are_said_at_once_in_the_order_of_the_rows(bench, tmp_path: Path):
    folder, trial, schedule = bench
    table = read_csv_as_text(folder / "shots.csv")
    table.loc[4, "dose_g"] = "185"
    table.loc[1, "beverage_g"] = "lots"
    assert [one.row for one in validate_shots(table, trial, schedule)] == [3, 6]


def test_a_missing_column_is_named_with_the_nearest(bench):
    folder, trial, schedule = bench
    table = read_csv_as_text(folder / "shots.csv").rename(columns={"method": "methode"})
    said = [one.sentence() for one in validate_shots(table, trial, schedule)]
    assert "column method: this column is missing. Did you mean “methode”?" in said[0]


def test_a_file_with_faults_is_refused_and_left_alone(bench, tmp_path: Path):
    folder, trial, schedule = bench
    path = tmp_path / "shots.csv"
    path.write_bytes((folder / "shots.csv").read_bytes().replace(b"17.5", b"185", 1))
    before = path.read_bytes()
    with pytest.raises(TableError, match="row 2, column dose_g"):
        read_shots_csv(path, trial, schedule)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"\xff\x00\x81", "not plain text in UTF-8"),
        (b"", "is empty"),
        (b'a,b\n"open', "cannot be read as CSV"),
        (b"a,b\n1,2,3\n", "row 2: this row has 3 cells, but there are 2 columns"),
    ],
)
def test_an_unreadable_file_is_said(tmp_path: Path, content: bytes, sentence: str):
    (tmp_path / "shots.csv").write_bytes(content)
    with pytest.raises(DataError, match=sentence):
        read_csv_as_text(tmp_path / "shots.csv")
    with pytest.raises(DataError, match="is not there"):
        read_csv_as_text(tmp_path / "none.csv")
