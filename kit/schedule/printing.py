"""Sheets as pages ready to print: large type, one session a page, on A4 or US Letter."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pandas as pd
from jinja2 import Environment

from kit.codebook import column
from kit.errors import PlanError
from kit.files import write_atomically
from kit.schedule.files import read_schedule
from kit.schedule.sheets import (
    Sheet,
    discrimination_sheet,
    fault_scorer_sheet,
    measurer_sheet,
    operator_sheet,
    recipe_sheet,
    taster_sheet,
)
from kit.schedule.tasting import discrimination_sets, tasting_orders
from kit.trial import Trial, read_trial

_PORTRAIT_HOLDS = 4  # columns to write in
_LONG_TEXT = (column("method").label, "Recipe")

PAPERS = {"A4": "A4", "Letter": "letter"}


def sheet_html(sheet: Sheet, paper: str = "A4", footer: str = "") -> str:
    """A sheet as one self-contained page; every text is escaped.

    Parameters
    ----------
    paper
        “A4” or “Letter”.
    footer
        One line under each page, for example the seal.

    Raises
    ------
    PlanError
        If the paper is neither.
    """
    if paper not in PAPERS:
        raise PlanError(f"There is no paper “{paper}” here. Choose {' or '.join(PAPERS)}.")
    source = resources.files("kit.schedule").joinpath("sheet.html.j2").read_text("utf-8")
    page = Environment(autoescape=True, trim_blocks=True).from_string(source)
    size = PAPERS[paper] + (" landscape" if len(sheet.blanks) > _PORTRAIT_HOLDS else "")
    pages = [
        (heading, list(table.columns), _text_columns(table), _rows(table))
        for heading, table in sheet.pages
    ]
    return page.render(sheet=sheet, pages=pages, paper=size, footer=footer)


def _text_columns(table: pd.DataFrame) -> list[int]:
    """Columns whose cells may run over several lines."""
    return [i for i, name in enumerate(table.columns) if name in _LONG_TEXT]


def _rows(table: pd.DataFrame) -> list[dict[str, object]]:
    """Cells as text, and whether a heavier line closes a block after this row."""
    blocks = table["Block"].tolist() if "Block" in table else [""] * len(table)
    following = [*blocks[1:], None]
    return [
        {"cells": [str(cell) for cell in row], "ends": "Block" in table and this != after}
        for row, this, after in zip(table.itertuples(index=False), blocks, following, strict=True)
    ]


def all_sheets(trial: Trial, schedule: pd.DataFrame, seed: int | None = None) -> dict[str, Sheet]:
    """Every sheet a trial needs, by file name; tasters' sheets need the seed of the draw."""
    sheets = {
        "bench": operator_sheet(trial, schedule),
        "recipes": recipe_sheet(trial),
        "readings": measurer_sheet(trial, schedule),
        "faults": fault_scorer_sheet(trial, schedule),
    }
    if seed is None or not trial.tasting.tasters:
        return sheets
    orders = tasting_orders(trial, seed, schedule["code"].tolist())
    tasters = trial.tasting.tasters
    sheets |= {f"taster_{n}": taster_sheet(trial, orders, t) for n, t in enumerate(tasters, 1)}
    if trial.tasting.discrimination and trial.tasting.sets_per_taster:
        sets = discrimination_sets(trial, seed, [*schedule["code"], *orders["code"]])
        sheets |= {
            f"sets_{n}": discrimination_sheet(trial, sets, t) for n, t in enumerate(tasters, 1)
        }
    return sheets


def write_sheets(folder: Path, paper: str = "A4", footer: str = "") -> list[Path]:
    """Write every sheet of a trial folder as print-ready HTML under ``sheets/``.

    The schedule comes from ``schedule.csv``, the seed of the tasters' orders from the trial.
    """
    trial = read_trial(folder)
    sheets = all_sheets(trial, read_schedule(folder), trial.layout.seed)
    return [
        write_atomically(folder / "sheets" / f"{name}.html", sheet_html(sheet, paper, footer))
        for name, sheet in sheets.items()
    ]
