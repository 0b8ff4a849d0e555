"""What the models of the panels that show results share: an analysis run apart and kept."""

from __future__ import annotations

from pathlib import Path

from kit.results import Results
from kit.widgets.panel_model import PanelModel


class ResultsModel(PanelModel):
    """A panel on a completed trial; what was computed is thrown away when the folder is read."""

    def __init__(self, folder: Path) -> None:
        self.results: Results | None = None
        super().__init__(folder)

    def read_folder(self) -> None:
        """What was computed before is thrown away."""
        self.results = None

    @property
    def ready(self) -> bool:
        """Whether everything is there to be analysed."""
        return not self.unmet()

    def keep(self, results: Results) -> None:
        """Take over what was computed and tell the views."""
        self.results = results
        self.touch()
