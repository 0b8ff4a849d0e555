"""Writing the bundle of a trial: its files, its results, and their description, in one zip."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pandas as pd

from kit.bundle import metadata
from kit.bundle.archive import pack
from kit.bundle.contents import trial_entries
from kit.bundle.tasters import refuse_names_of_tasters
from kit.deviations import DEVIATIONS_FILE
from kit.errors import BundleError
from kit.results.write import RESULTS_FOLDER, TABLES_FOLDER
from kit.schedule import FREEZE_FILE, read_freeze
from kit.trial import read_trial

DEVIATIONS_PATH = f"{RESULTS_FOLDER}/{TABLES_FOLDER}/{DEVIATIONS_FILE}"
PROPOSED_LICENCE = "CC-BY-4.0"


def write_bundle(folder: Path, licence: str = PROPOSED_LICENCE) -> Path:
    """Write ``<folder name>-bundle.zip`` into the trial's folder and return its path.

    Parameters
    ----------
    licence
        Licence of the data: ``CC-BY-4.0`` (proposed) or ``CC0-1.0``.

    Raises
    ------
    BundleError
        If the results were not written yet, a file is missing, the licence is unknown, or a
        taster stands in the trial by name.
    """
    if licence not in metadata.LICENCES:
        raise BundleError(
            f"“{licence}” is not a licence offered here; choose {' or '.join(metadata.LICENCES)}."
        )
    entries = trial_entries(folder)
    findings = entries.get("results/findings.json")
    if findings is None:
        raise BundleError(f"{folder} has no results yet. Run “fairpull publish {folder}”.")
    # Found in the log and recorded by hand: whoever reads the bundle wants the whole list.
    if DEVIATIONS_PATH in entries:
        entries[DEVIATIONS_FILE] = entries[DEVIATIONS_PATH]
    trial = read_trial(folder)
    refuse_names_of_tasters(trial, entries)
    seal = read_freeze(folder).short if (folder / FREEZE_FILE).exists() else ""
    entries[metadata.ENVIRONMENT] = metadata.environment()
    entries[metadata.README] = metadata.readme(
        trial, entries, json.loads(findings)["headline"], licence, seal
    )
    described = dict(entries)
    entries[metadata.PACKAGE] = metadata.data_package(trial, described, licence)
    entries[metadata.CRATE] = metadata.research_crate(
        trial, described, licence, _day_of_last_shot(entries["shots.csv"])
    )
    entries[metadata.CHECKSUMS] = metadata.checksums(entries)
    return pack(entries, folder / f"{folder.resolve().name}-bundle.zip")


def _day_of_last_shot(shots: bytes) -> str:
    times = pd.read_csv(io.BytesIO(shots), dtype=str)["pulled_at"].dropna()
    return str(times.iloc[-1])[:10] if len(times) else "1980-01-01"
