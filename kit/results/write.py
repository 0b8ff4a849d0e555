"""Writing a trial's results beside it: tables, figures, findings, and the page."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from kit.figures import Picture, save_animation, save_picture
from kit.files import write_atomically
from kit.results.compute import Results
from kit.results.tables import csv_of, result_tables

RESULTS_FOLDER = "results"
TABLES_FOLDER = "tables"
FIGURES_FOLDER = "figures"
STILLS_FOLDER = "stills"
"""Beside the results: a film for a screen, not a part of what is published and compared."""
STILL_MILLISECONDS = 250
"""How long the animation stays on one shot."""
FINDINGS_FILE = "findings.json"
REPORT_FILE = "report.html"

Progress = Callable[[str], None]


def write_tables_and_findings(results: Results, folder: Path) -> list[Path]:
    """Write every result table (CSV) and the findings (JSON); older ones are taken away first."""
    target = folder / RESULTS_FOLDER / TABLES_FOLDER
    if target.exists():
        shutil.rmtree(target)
    written = [
        write_atomically(target / f"{name}.csv", csv_of(table))
        for name, table in result_tables(results).items()
    ]
    path = folder / RESULTS_FOLDER / FINDINGS_FILE
    return [*written, write_atomically(path, findings_text(results))]


def findings_text(results: Results) -> str:
    """The findings as JSON, the same bytes for the same findings."""
    data = results.findings.as_data()
    return json.dumps(data, ensure_ascii=False, indent=1, default=_plain) + "\n"


def write_figures(pictures: list[Picture], folder: Path, formats: tuple[str, ...]) -> list[Path]:
    """Write every picture in every format asked for."""
    target = folder / RESULTS_FOLDER / FIGURES_FOLDER
    return [
        path
        for picture in pictures
        for name in formats
        for path in save_picture(picture, target, name)
    ]


def write_stills(
    stills: list[Picture], folder: Path, format_name: str, report: Callable[[float], None]
) -> list[Path]:
    """Write stills in their order and, from the same drawings, an animation (GIF).

    Parameters
    ----------
    report
        Is told the share done; it may raise to stop the work.

    Returns
    -------
    list of Path
        The stills in order, the animation last.

    Raises
    ------
    PlanError
        If there is no format of that name.
    """
    target = folder / STILLS_FOLDER
    written = []
    for number, picture in enumerate(stills, start=1):
        written += save_picture(picture, target, format_name)
        report(0.7 * number / len(stills))
    return [*written, save_animation(stills, target, format_name, STILL_MILLISECONDS)]


def _plain(value: Any) -> Any:
    """Numbers of numpy as plain JSON numbers."""
    return value.item() if hasattr(value, "item") else str(value)
