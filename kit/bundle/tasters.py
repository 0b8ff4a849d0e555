"""Names of tasters never enter a bundle: who tasted what is told by codes alone."""

from __future__ import annotations

import io

import pandas as pd

from kit.errors import BundleError
from kit.schedule.tasting import ORDERS_FILE, SETS_FILE
from kit.trial import Trial
from kit.trial.codes import is_code


def refuse_names_of_tasters(trial: Trial, entries: dict[str, bytes]) -> None:
    """Refuse to hand over tastings under names.

    Raises
    ------
    BundleError
        If a taster stands in the trial or in a table of tastings with what looks like a name.
    """
    tasters = set(trial.tasting.tasters)
    for table in ("tastings.csv", ORDERS_FILE, SETS_FILE):
        if table in entries:
            tasters |= set(pd.read_csv(io.BytesIO(entries[table]), dtype=str)["taster"].dropna())
    named = sorted(taster for taster in tasters if not is_code(taster))
    if named:
        raise BundleError(
            f"The taster “{named[0]}” seems to stand in this trial by name. A bundle never holds "
            "names of tasters: it goes to strangers, and what somebody tasted is their own. Use "
            "codes such as T1, T2 for tasters (tasting.tasters in trial.toml, before sealing; a "
            "correction of each tasting in the log)."
        )
