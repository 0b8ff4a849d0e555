"""The report: plain parts in, one self-contained HTML page out."""

from __future__ import annotations

from kit.report.content import (
    FigurePart,
    Question,
    RawData,
    ReportContent,
    Table,
    figure_part,
    raw_data,
    table_of,
)
from kit.report.page import render_report
from kit.report.recheck import PairCheck, RelabellingCheck, relabelling_check

__all__ = [
    "FigurePart",
    "PairCheck",
    "Question",
    "RawData",
    "RelabellingCheck",
    "ReportContent",
    "Table",
    "figure_part",
    "raw_data",
    "relabelling_check",
    "render_report",
    "table_of",
]
