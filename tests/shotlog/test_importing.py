"""Import: what people have is read exactly as meant, or refused with the place and the remedy."""

from __future__ import annotations

import random
import re
from datetime import UTC, datetime
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kit.errors import DataError, KitError, TableError
from kit.shotlog import fold, limitations_of, read_journal, shots_table
from kit.shotlog.importing import import_shots, log_import, preview_import
from kit.shotlog.importing.cells import read_sheets
from kit.trial import Trial, read_trial
from tests.shotlog.invented_spreadsheets import Case, invented_case

AT = datetime(2026, 5, 2, 9, 0, tzinfo=UTC)
TRIAL = read_trial(Path("sample_sessions/four_naps"))
NUMBERS = ("dose_g", "beverage_g", "ey_pct", "shot_time_s")
GOOD = 'method,dose (g),out (g),TDS (%)\nHarbour,17.5,36.2,9.40\nFjord,"17,6 g",35.9,"9,55"\n'


@pytest.fixture
def trial() -> Trial:
    return TRIAL


def saved(folder: Path, text: str, name: str = "log.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def the_complaint(path: Path, trial: Trial) -> str:
    with pytest.raises(TableError) as caught:
        import_shots(path, trial)
    return str(caught.value)


def check_case(case: Case, folder: Path) -> str:
    """What became of a case: ``read as meant``, ``asked`` about what can be read in two ways, or
    ``refused`` at the right row. Anything else fails.
    """
    path = folder / case.name
    path.write_bytes(case.content)
    if case.fault:
        with pytest.raises(TableError) as caught:
            import_shots(path, TRIAL, zone=UTC)
        complaints = caught.value.complaints
        assert case.wrong_row in {None, *(complaint.row for complaint in complaints)}, complaints
        assert all(complaint.problem and complaint.remedy for complaint in complaints)
        asked = any("in more than one way" in complaint.problem for complaint in complaints)
        assert asked == (case.fault == "two marks")
        return "asked" if asked else "refused"
    imported = import_shots(path, TRIAL, zone=UTC)
    rows = [_as_truth(row, case.shots[0].keys()) for row in imported.rows]
    key = lambda row: tuple(str(value) for value in row.values())  # noqa: E731
    assert sorted(rows, key=key) == sorted(case.shots, key=key)
    return "read as meant"


def check_damaged(path: Path) -> str:
    """What became of a damaged file: a sentence, or shots whose every number stands in the file."""
    try:
        imported = import_shots(path, TRIAL, zone=UTC)
    except KitError as refused:  # any other exception fails
        assert str(refused)
        return "refused"
    there = {number for sheet in read_sheets(path) for row in sheet.cells for cell in row
             if (number := _number_in(cell)) is not None}  # fmt: skip
    for row in imported.rows:
        taken = [*row.get("tds_readings", []), *(row.get(name) for name in NUMBERS)]
        assert {round(value, 9) for value in taken if value is not None} <= there, row
    return "read"


def _number_in(cell: object) -> float | None:
    """The number at the start of a cell, found without the kit's own reading of numbers."""
    if isinstance(cell, (int, float)):
        return round(float(cell), 9)
    found = re.match(r"\s*[+\-−]?\s*((\d+([.,]\d*)?|[.,]\d+)([eE][+\-]?\d+)?)", str(cell or ""))
    return round(float(found[1].replace(",", ".")), 9) if found else None


def _as_truth(row: dict[str, object], names: object) -> dict[str, object]:
    readings = row.get("tds_readings")
    values = {**row, "tds_pct": readings[0]} if readings else row  # type: ignore[index]
    return {name: values[name] for name in names}  # type: ignore[attr-defined]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 2**32))
def test_invented_spreadsheets_are_read_exactly_or_refused_at_the_right_row(
    seed: int, tmp_path_factory: pytest.TempPathFactory
):
    check_case(invented_case(random.Random(seed)), tmp_path_factory.mktemp("case"))


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 2**32), places=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255))))
def test_damaged_files_give_a_sentence_or_what_stands_in_them_never_a_traceback(
    seed: int, places: list[tuple[float, int]], tmp_path_factory: pytest.TempPathFactory
):
    case = invented_case(random.Random(seed))
    content = bytearray(case.content)
    for place, byte in places:
        content[int(place * (len(content) - 1))] = byte
    path = tmp_path_factory.mktemp("damaged") / case.name
    path.write_bytes(bytes(content))
    check_damaged(path)


def test_what_was_understood_is_shown_before_anything_is_written(tmp_path: Path, trial: Trial):
    mapping = preview_import(saved(tmp_path, GOOD), trial)
    shown = mapping.described()
    assert shown["read as"].tolist() == ["method", "dose_g", "beverage_g", "tds_pct"]
    assert shown["example"].tolist() == ["Harbour", "17.5", "36.2", "9.40"]
    assert shown["column"].tolist() == ["A", "B", "C", "D"]
    assert not (tmp_path / "shots.jsonl").exists()


def test_decimal_commas_and_units_are_read_as_meant(tmp_path: Path, trial: Trial):
    rows = import_shots(saved(tmp_path, GOOD), trial).rows
    assert rows[1]["dose_g"] == 17.6
    assert rows[1]["tds_readings"] == [9.55]


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("185", "row 2, column B (dose (g)): dose must lie between 5 and 30 g (found: 185)"),
        ('"1.850,0"', "“1.850,0” can be read in more than one way"),
        ("18.5 oz", "“18.5 oz” carries the unit “oz”"),
        ("plenty", "“plenty” is not a number"),
    ],
)
def test_a_number_that_cannot_be_meant_is_refused_with_its_place(
    tmp_path: Path, trial: Trial, cell: str, expected: str
):
    path = saved(tmp_path, GOOD.replace("17.5", cell))
    assert expected in the_complaint(path, trial)


def test_an_unknown_method_names_the_nearest(tmp_path: Path, trial: Trial):
    said = the_complaint(saved(tmp_path, GOOD.replace("Harbour", "Harbor")), trial)
    assert "row 2, column A (method): this method is not in the trial (found: Harbor)" in said
    assert "Did you mean “Harbour”?" in said


def test_an_ambiguous_heading_is_not_guessed(tmp_path: Path, trial: Trial):
    mapping = preview_import(
        saved(tmp_path, "method,dose,yield,tds,EY\nHarbour,18,36,9,18\n"), trial
    )
    (yields,) = [use for use in mapping.sheets[0].columns if use.heading == "yield"]
    assert yields.target is None
    assert "two things" in yields.why


def test_what_is_missing_is_said_beside_the_column_it_may_stand_in(tmp_path: Path, trial: Trial):
    said = the_complaint(saved(tmp_path, "method,dose (oz),out,TDS\nThaw,0.65,36,9.4\n"), trial)
    assert "column B (dose (oz)): this column is not read: its unit is not the one" in said
    assert "row 2, column dose_g: Dose is missing" in said


def test_columns_that_are_not_read_are_said(tmp_path: Path, trial: Trial):
    path = saved(tmp_path, "method,mood,EY (%)\nThaw,fine,18.9\n")
    (said,) = import_shots(path, trial).notes
    assert said == "log.csv: column B (mood) was not read: not a known heading."


def test_minutes_and_seconds_are_not_taken_for_a_number(tmp_path: Path, trial: Trial):
    path = saved(tmp_path, "method,EY (%),shot time\nThaw,18.9,0:28\n")
    assert "this is minutes and seconds (found: 0:28). Write it in seconds" in the_complaint(
        path, trial
    )


def test_a_table_without_planned_shots_is_refused_once_where_there_is_a_schedule(
    tmp_path: Path, trial: Trial
):
    schedule = pd.read_csv("sample_sessions/four_naps/schedule.csv", dtype={"code": str})
    with pytest.raises(TableError) as caught:
        import_shots(saved(tmp_path, GOOD), trial, schedule)
    (complaint,) = caught.value.complaints
    assert "a trial of their own" in complaint.remedy


def test_the_person_may_change_what_a_column_means(tmp_path: Path, trial: Trial):
    path = saved(tmp_path, "method,dose,yield,tds\nHarbour,18,36,9\n")
    mapping = preview_import(path, trial).with_target("", "C", "beverage_g")
    assert import_shots(path, trial, mapping=mapping).rows[0]["beverage_g"] == 36


def test_a_workbook_with_a_sheet_a_session(tmp_path: Path, trial: Trial):
    book = openpyxl.Workbook()
    first = book.active
    first.title = "Saturday"
    second = book.create_sheet("Sunday")
    notes = book.create_sheet("Notes")
    notes["A1"] = "nice weekend"
    for sheet, dose in ((first, 18.0), (second, 18.1)):
        sheet.append(["Method", "Dose (g)", "Drink (g)", "TDS"])
        sheet.append(["Thaw", dose, 36.0, 9.5])
    book.save(tmp_path / "weekend.xlsx")
    imported = import_shots(tmp_path / "weekend.xlsx", trial)
    assert [(row["session"], row["dose_g"]) for row in imported.rows] == [
        ("Saturday", 18.0),
        ("Sunday", 18.1),
    ]
    assert "Sheet Notes holds no table of shots and was not read." in imported.notes
    assert "no sessions" not in imported.limitations


def test_text_merged_over_several_rows_counts_for_each(tmp_path: Path, trial: Trial):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Method", "EY (%)"])
    for method, ey in [("Fjord", 19.5), (None, 19.7), ("Thaw", 18.9)]:
        sheet.append([method, ey])
    sheet.merge_cells("A2:A3")
    book.save(tmp_path / "merged.xlsx")
    rows = import_shots(tmp_path / "merged.xlsx", trial).rows
    assert [row["method"] for row in rows] == ["Fjord", "Fjord", "Thaw"]


def test_a_row_of_means_is_set_aside_and_said(tmp_path: Path, trial: Trial):
    book = openpyxl.Workbook()
    sheet = book.active
    for row in (["EY"], ["Fjord", "Thaw"], [19.5, 18.9], [19.7, 19.1], ["=AVERAGE(A3:A4)", None]):
        sheet.append(row)
    book.save(tmp_path / "means.xlsx")
    imported = import_shots(tmp_path / "means.xlsx", trial)
    assert len(imported.rows) == 4
    assert any("row 5: a summary" in note for note in imported.notes)


def test_excel_dates_give_the_order_and_a_date_in_a_number_cell_is_refused(
    tmp_path: Path, trial: Trial
):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Date", "Clock", "Method", "EY (%)"])
    sheet.append([datetime(2026, 5, 2), datetime(2026, 5, 2, 10, 30).time(), "Fjord", 19.5])
    sheet.append([datetime(2026, 5, 2), datetime(2026, 5, 2, 9, 30).time(), "Thaw", 18.5])
    book.save(tmp_path / "dated.xlsx")
    imported = import_shots(tmp_path / "dated.xlsx", trial, zone=UTC)
    assert [row["method"] for row in imported.rows] == ["Thaw", "Fjord"]
    assert "no order" not in imported.limitations
    sheet["D2"] = datetime(2026, 5, 19)  # what a spreadsheet may make of “19.5”
    book.save(tmp_path / "dated.xlsx")
    with pytest.raises(TableError, match="made something else of a number"):
        import_shots(tmp_path / "dated.xlsx", trial, zone=UTC)


def test_a_time_without_a_zone_is_asked_about(tmp_path: Path, trial: Trial):
    path = saved(tmp_path, "date,clock,method,EY\n2026-05-02,9:30,Thaw,18.5\n")
    assert "no time zone" in the_complaint(path, trial)


def test_data_without_plan_order_or_blocks_is_accepted_and_marked(tmp_path: Path, trial: Trial):
    imported = import_shots(saved(tmp_path, GOOD), trial)
    assert imported.limitations == ("no schedule", "no order", "no blocks", "no sessions")
    log_import(tmp_path, imported, AT, "op")
    log = fold(read_journal(tmp_path).events)
    assert len(limitations_of(log)) == 4
    table = shots_table(log, None)
    assert table["ey_pct"].round(4).tolist() == [
        round(9.40 * 36.2 / 17.5, 4),
        round(9.55 * 35.9 / 17.6, 4),
    ]
    assert table["session_position"].isna().all()
    assert table["pulled_at"].isna().all()


def test_an_import_cut_off_before_its_end_does_not_count(tmp_path: Path, trial: Trial):
    log_import(tmp_path, import_shots(saved(tmp_path, GOOD), trial), AT, "op")
    path = tmp_path / "shots.jsonl"
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:-1]))
    assert fold(read_journal(tmp_path).events).shots == ()


@pytest.mark.parametrize(
    ("name", "content", "expected"),
    [
        ("log.csv", b"", "is empty"),
        ("log.csv", b"\x00\x01\x02", "is no text"),
        ("log.xlsx", b"PK\x03\x04 no workbook", "cannot be read as a workbook"),
        ("log.xls", b"\xd0\xcf\x11\xe0 old", "Save it as .xlsx"),
        ("log.csv", b"a,b\n1,2\n", "holds no table of shots"),
    ],
)
def test_unreadable_files_are_refused_in_words(
    tmp_path: Path, trial: Trial, name: str, content: bytes, expected: str
):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(DataError, match=expected):
        import_shots(tmp_path / name, trial)


def test_a_missing_file_is_said(tmp_path: Path, trial: Trial):
    with pytest.raises(DataError, match="is not there"):
        import_shots(tmp_path / "none.csv", trial)
