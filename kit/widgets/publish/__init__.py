"""The panel of the notebook about what may be said, shown and handed over."""

from __future__ import annotations

from pathlib import Path


def show(folder: Path | None = None) -> None:
    """Show the panel on the trial in ``folder`` (by default the folder of the notebook)."""
    from kit.widgets.frame import present
    from kit.widgets.publish.model import PublishModel
    from kit.widgets.publish.view import PublishView

    present(PublishView, PublishModel, folder)
