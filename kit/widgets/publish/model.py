"""What goes out: sentences, pictures in their formats, report and bundle. No widgets here."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from kit.bundle import write_bundle
from kit.bundle.metadata import LICENCES
from kit.figures import Picture, measure_of
from kit.findings.claims import SUPPORTED
from kit.results import (
    RESULTS_FOLDER,
    Results,
    compute_results,
    names_hidden,
    pictures_of,
    stills,
    write_figures,
    write_stills,
    write_tables_and_findings,
)
from kit.results.gate import still_to_pull
from kit.results.page import methods_paragraphs, write_report
from kit.shotlog import write_tables
from kit.widgets.panel_model import JOURNAL_FILE
from kit.widgets.results_model import ResultsModel

SHAPES = {
    "page": "Page, SVG and PNG",
    "print-single": "Print, 85 mm",
    "print-double": "Print, 174 mm",
    "still-wide": "Wide, 1920 × 1080",
    "still-wide-4k": "Wide, 3840 × 2160",
    "still-tall": "Tall, 1080 × 1920",
    "still-tall-4k": "Tall, 2160 × 3840",
}
KINDS = {
    "shots": "Shots in order",
    "means": "Means",
    "differences": "Differences",
    "factorial": "Combinations",
    "spread": "Spread",
    "spread_ratios": "Ratios of spread",
    "fault": "Faults",
    "taste": "Scores",
    "reference": "Reference shots",
    "residuals": "Residuals",
    "sensitivity": "Other defensible analyses",
    "balance": "Balance of the schedule",
}
GROUNDS = {"": "Light card", "-dark": "Dark card", "-clear": "Transparent, dark ink",
           "-dark-clear": "Transparent, light ink"}  # fmt: skip
LICENCE_NAMES = {key: name for key, (name, _) in LICENCES.items()}


class PublishModel(ResultsModel):
    """Results with their names, the choice of pictures and formats, and the files written."""

    def __init__(self, folder: Path) -> None:
        self.shape = "still-wide"
        self.ground = ""
        self.licence = next(iter(LICENCES))
        self.picked = 0
        super().__init__(folder)

    def unmet(self) -> list[str]:
        """What is still missing before something can be published."""
        if self.trial is None:
            return super().unmet()
        if not self.has(JOURNAL_FILE):
            return ["No shot is logged yet. Log shots in 2_shoot."]
        if still_to_pull(self.folder):
            return ["The trial is not complete; results are published after the last shot."]
        if names_hidden(self.folder):
            return ["The analysis is not settled yet. Settle it in 3_analyse; then the names show."]
        return []

    def compute(self, progress: Callable[[str], None]) -> Results:
        """Analyse the trial; the result is kept by :meth:`keep`."""
        write_tables(self.folder)
        return compute_results(self.folder, progress)

    # -- what is shown and chosen ----------------------------------------------------------------

    def sentences(self) -> str:
        """The words one may say: headline, supported claims, limits."""
        if self.results is None:
            return ""
        findings = self.results.findings
        supported = [c.strongest for c in findings.claims if c.standing == SUPPORTED]
        return "\n".join(dict.fromkeys([findings.headline, *supported, *findings.limits]))

    def methods_text(self) -> str:
        """The methods paragraph, to copy."""
        if self.results is None:
            return ""
        return "\n\n".join(methods_paragraphs(self.results, self.folder))

    def pictures(self) -> list[Picture]:
        """Every picture of the trial."""
        return [] if self.results is None else pictures_of(self.results)

    def picture_titles(self) -> list[str]:
        """What each picture shows, in a few words, in the order of :meth:`pictures`."""
        return [_title(picture.name) for picture in self.pictures()]

    def choose(self, shape: str, ground: str) -> None:
        """Choose the format in which pictures are shown and written."""
        self.shape, self.ground = shape, ground
        self.touch()

    def pick(self, place: int) -> None:
        """Look at another picture."""
        self.picked = place
        self.touch()

    @property
    def format_name(self) -> str:
        """The chosen format, a key of ``figures.FORMATS``."""
        return f"{self.shape}{self.ground}"

    @property
    def picture(self) -> Picture | None:
        """The picture that is looked at."""
        pictures = self.pictures()
        return pictures[min(self.picked, len(pictures) - 1)] if pictures else None

    # -- what is written -------------------------------------------------------------------------

    def write_picture(self) -> list[Path]:
        """Write the picture that is looked at in the chosen format."""
        chosen = [] if self.picture is None else [self.picture]
        return write_figures(chosen, self.folder, (self.format_name,))

    def write_pictures(self, report: Callable[[float], None]) -> list[Path]:
        """Write every picture in the chosen format; ``report`` may raise to stop."""
        pictures, written = self.pictures(), []
        for number, picture in enumerate(pictures, start=1):
            written += write_figures([picture], self.folder, (self.format_name,))
            report(number / len(pictures))
        return written

    def write_film(self, report: Callable[[float], None]) -> list[Path]:
        """The running means shot by shot in the chosen format: stills, the animation last."""
        results = self.results or self.compute(lambda _: None)
        pictures = stills(results.trial, results.analysis.study)
        return write_stills(pictures, self.folder, self.format_name, report)

    def write_all(self, report: Callable[[float], None]) -> tuple[Path, Path]:
        """Tables, pictures, report and bundle; returns the paths of report and bundle."""
        results = self.results or self.compute(lambda _: None)
        write_tables_and_findings(results, self.folder)
        report(0.1)
        pictures = pictures_of(results)
        formats = tuple(dict.fromkeys(("page", self.format_name)))
        for number, picture in enumerate(pictures, start=1):
            write_figures([picture], self.folder, formats)
            report(0.1 + 0.6 * number / len(pictures))
        page = write_report(results, pictures, self.folder)
        report(0.9)
        return page, write_bundle(self.folder, self.licence)

    def files(self) -> list[str]:
        """The result files there are, as paths from the trial folder, sorted."""
        found = (self.folder / RESULTS_FOLDER).rglob("*")
        paths = [path.relative_to(self.folder).as_posix() for path in found if path.is_file()]
        return sorted([*paths, *(path.name for path in self.folder.glob("*-bundle.zip"))])


def _title(name: str) -> str:
    """``Means: extraction yield`` for ``means_ey_pct``."""
    kind = max((key for key in KINDS if name.startswith(key)), key=len, default="")
    measures = re.split("_(?:against|between)_", name[len(kind) :].strip("_"))
    labels = [
        measure if kind == "fault" else measure_of(measure).in_text
        for measure in measures
        if measure
    ]
    return f"{KINDS.get(kind, name)}: {' against '.join(labels)}".removesuffix(": ")
