"""The log sheet: nothing in it is a formula, and it comes back through the import."""

from pathlib import Path
from shutil import copy

import openpyxl
import pandas as pd
import pytest

from kit.schedule import make_schedule, read_schedule
from kit.shotlog.importing.imported import import_shots
from kit.shotlog.logsheet import log_sheet, write_log_sheet
from kit.trial import read_trial, write_trial

SAMPLES = Path(__file__).parents[2] / "sample_sessions"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy(SAMPLES / "four_naps" / "trial.toml", tmp_path)
    make_schedule(tmp_path, 1)
    return tmp_path


def filled(folder: Path) -> Path:
    """The workbook with the first session written in, as a person would."""
    path = folder / "log_sheet.xlsx"
    book = openpyxl.load_workbook(path)
    page = book.active
    columns = {cell.value: cell.column for cell in page[1]}
    entries = {"dose_g": 17.5, "beverage_g": 36.1, "shot_time_s": 28, "tds_pct": 9.4, "faults": 0}
    for row in range(2, 24):
        if page.cell(row=row, column=columns["role"]).value != "spare":
            for name, value in entries.items():
                page.cell(row=row, column=columns[name], value=value)
    page.delete_rows(24, page.max_row)
    page.delete_rows(23)  # the spare was not used
    book.save(path)
    return path


def test_a_filled_sheet_comes_back_as_written(folder: Path) -> None:
    write_log_sheet(folder)
    trial = read_trial(folder)
    schedule = read_schedule(folder)
    read = import_shots(filled(folder), trial, schedule=schedule).table
    assert len(read) == 21
    assert read["method"].tolist() == schedule["method"].iloc[:21].tolist()
    assert read["beverage_g"].eq(36.1).all()
    assert read["planned_shot"].astype(int).tolist() == list(range(1, 22))


def test_a_method_that_looks_like_a_formula_stays_text(folder: Path) -> None:
    trial = read_trial(folder)
    evil = trial.methods[1].model_copy(update={"name": "=1+1"})
    write_trial(
        trial.model_copy(update={"methods": (trial.methods[0], evil, *trial.methods[2:])}), folder
    )
    make_schedule(folder, 2)
    csv, xlsx = write_log_sheet(folder)
    cells = pd.read_csv(csv, dtype=str, keep_default_na=False)["method"]
    assert "'=1+1" in set(cells)
    assert not cells.str.startswith("=").any()
    page = openpyxl.load_workbook(xlsx).active
    texts = [cell for row in page.iter_rows() for cell in row if cell.value == "=1+1"]
    assert len(texts) == 12
    assert {cell.data_type for cell in texts} == {"s"}
    assert all(cell.quotePrefix for cell in texts)


def test_the_sheet_holds_every_pull_and_a_place_for_every_entry(folder: Path) -> None:
    sheet = log_sheet(read_schedule(folder))
    assert len(sheet) == 66
    assert (sheet[["dose_g", "beverage_g", "tds_pct", "status", "reason"]] == "").all(axis=None)
