"""The report of somebody else's bundle, made by this kit from the recomputed results.

The page that came inside the bundle is never opened: it could hold a script. This one is drawn by
our own code, in which every text of the bundle is text and nothing more.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from kit.bundle.archive import unpack
from kit.bundle.reproduce import Reproduction, trial_in
from kit.errors import BundleError
from kit.files import write_atomically
from kit.report import render_report
from kit.results import pictures_of
from kit.results.page import report_content
from kit.results.write import REPORT_FILE


def reproduced_folder(bundle: Path) -> Path:
    """Where the report of a bundle goes: beside it, named after it."""
    return bundle.parent / f"{bundle.stem}-reproduced"


def write_own_report(bundle: Path, found: Reproduction) -> Path:
    """Write ``<bundle>-reproduced/report.html`` and return its path.

    The page says at its top that it was recomputed, and whether everything matched.

    Raises
    ------
    BundleError
        If the folder is there already (nothing is overwritten), or the bundle changed meanwhile.
    DataError
        If the folder cannot be written.
    """
    target = reproduced_folder(bundle)
    if target.exists():
        raise BundleError(
            f"{target} is there already and was left as it is. Move it away to get the report anew."
        )
    with trial_in(unpack(bundle), bundle) as folder:
        content = report_content(found.results, pictures_of(found.results), folder)
        page = render_report(replace(content, marks=(_mark(bundle, found), *content.marks)))
    return write_atomically(target / REPORT_FILE, page)


def _mark(bundle: Path, found: Reproduction) -> str:
    differing = [check.what for check in found.checks if not check.agrees]
    if not differing:
        return (
            f"Recomputed from {bundle.name}: all {len(found.checks)} checks match what was "
            "published."
        )
    return (
        f"Recomputed from {bundle.name}: {len(differing)} of {len(found.checks)} checks differ "
        f"from what was published ({', '.join(differing[:5])}). Do not rely on the published page."
    )
