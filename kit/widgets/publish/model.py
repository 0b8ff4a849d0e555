"""What there is to publish. No widgets here."""

from __future__ import annotations

from kit.widgets.panel_model import PanelModel

RESULTS_FOLDER = "results"


class PublishModel(PanelModel):
    """The files of the results, and what is missing before they can be handed over."""

    def files(self) -> list[str]:
        """The result files there are, as paths from the trial folder, sorted."""
        found = (self.folder / RESULTS_FOLDER).rglob("*")
        return sorted(path.relative_to(self.folder).as_posix() for path in found if path.is_file())

    def unmet(self) -> list[str]:
        """What is still missing before something can be published."""
        if self.trial is None:
            return super().unmet()
        if not self.files():
            return ["There are no results yet. Make them in 3_analyse."]
        return []
