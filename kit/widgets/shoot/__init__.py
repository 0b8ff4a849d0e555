"""The panel of the notebook about the next shot, and what is written down about it."""

from __future__ import annotations

from pathlib import Path


def show(folder: Path | None = None) -> None:
    """Show the panel on the trial in ``folder`` (by default the folder of the notebook)."""
    from kit.widgets.frame import present
    from kit.widgets.shoot.model import ShootModel
    from kit.widgets.shoot.view import ShootView

    present(ShootView, ShootModel, folder)
