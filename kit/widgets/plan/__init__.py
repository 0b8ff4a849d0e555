"""The panel of the notebook about what is asked, what it takes, and how it is sealed."""

from __future__ import annotations

from pathlib import Path


def show(folder: Path | None = None) -> None:
    """Show the panel on the trial in ``folder`` (by default the folder of the notebook)."""
    from kit.widgets.frame import present
    from kit.widgets.plan.model import PlanModel
    from kit.widgets.plan.view import PlanView

    present(PlanView, PlanModel, folder)
