"""Exports: formulas stay text, the workbook comes back through the import, the dictionary is whole.

Types and keys of a schema: Table Schema specification, version 1 (from memory).
"""

from __future__ import annotations

import json
from pathlib import Path

import openpyxl

from kit import codebook
from kit.shotlog import read_shots
from kit.shotlog.export import write_exports
from kit.shotlog.importing import import_shots
from tests.shotlog.bench import log_next, small_trial

HOSTILE = ["=1+1", "+1", "-1", "@SUM(A1)", '=HYPERLINK("http://x")', "bell \x07"]
FIELD_TYPES = {"string", "number", "integer", "boolean", "datetime", "date", "time"}


def test_hostile_notes_are_text_in_the_workbook(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    for note in HOSTILE:
        log_next(tmp_path, schedule, note=note)
    write_exports(tmp_path)
    sheet = openpyxl.load_workbook(tmp_path / "exports/log.xlsx")["shots"]
    assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)
    column = [cell.value for cell in sheet[1]].index("note") + 1
    notes = [sheet.cell(row, column).value for row in range(2, 2 + len(HOSTILE))]
    assert notes[:5] == HOSTILE[:5]


def test_the_workbook_comes_back_through_the_import_as_it_was(tmp_path: Path):
    trial, schedule = small_trial(tmp_path)
    for note in ("=1+1", "fine", "a\nb"):
        log_next(tmp_path, schedule, note=note)
    write_exports(tmp_path)
    imported = import_shots(tmp_path / "exports/log.xlsx", trial, schedule)
    shots = read_shots(tmp_path)
    assert [row["planned_shot"] for row in imported.rows] == shots["planned_shot"].tolist()
    assert [row["note"] for row in imported.rows] == ["=1+1", "fine", "a\nb"]
    assert [row["tds_readings"] for row in imported.rows] == [[9.4]] * 3
    assert imported.limitations == ()


def test_every_column_is_in_the_dictionary(tmp_path: Path):
    _, schedule = small_trial(tmp_path)
    log_next(tmp_path, schedule)
    names = {path.name for path in write_exports(tmp_path)}
    assert names >= {"shots.csv", "log.xlsx", "shots.schema.json", "readings.schema.json"}
    schema = json.loads((tmp_path / "exports/shots.schema.json").read_text(encoding="utf-8"))
    assert [field["name"] for field in schema["fields"]] == codebook.names(codebook.SHOTS)
    assert {field["type"] for field in schema["fields"]} <= FIELD_TYPES
    assert all(field["description"] for field in schema["fields"])
