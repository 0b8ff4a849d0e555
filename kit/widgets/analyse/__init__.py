"""The panel of the notebook about what the shots can and cannot tell."""

from __future__ import annotations

from pathlib import Path


def show(folder: Path | None = None) -> None:
    """Show the panel on the trial in ``folder`` (by default the folder of the notebook)."""
    from kit.widgets.analyse.model import AnalyseModel
    from kit.widgets.analyse.view import AnalyseView
    from kit.widgets.frame import present

    present(AnalyseView, AnalyseModel, folder)
