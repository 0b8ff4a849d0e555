"""What stands beside the planned outcomes in an honest account: a tidy table and a sentence each.

Nothing here carries a claim. It shows whether the bench held still (``bench``), what the claim
rests on (``claim``), and what tasters could tell (``taste``).
"""

from __future__ import annotations

import pandas as pd

from kit.analysis.designed_model import order_is_known
from kit.analysis.supplements import bench, claim, consequences, taste
from kit.analysis.supplements.given import Given, Maker
from kit.errors import KitError

__all__ = ["Given", "supplements"]


def supplements(given: Given) -> tuple[dict[str, pd.DataFrame], dict[str, str]]:
    """Tables and sentences by name; where the shots cannot answer, the sentence says why."""
    tables: dict[str, pd.DataFrame] = {}
    notes: dict[str, str] = {}
    for name, make in _asked(given):
        try:
            tables[name], notes[name] = make(given)
        except KitError as refusal:
            notes[name] = str(refusal)
    return {name: table for name, table in tables.items() if len(table.columns)}, notes


def _asked(given: Given) -> list[tuple[str, Maker]]:
    """Which supplements apply to this trial."""
    asked: list[tuple[str, Maker]] = [("reference_chart", bench.reference_shots)]
    outcomes = {item.outcome.role: item.outcome for item in given.results}
    if "primary" in outcomes and outcomes["primary"].aspect == "mean":
        asked += _about_the_primary(given)
    if given.trial.tasting.discrimination:
        asked.append(("discrimination", taste.told_apart))
    for item in given.results:
        if item.outcome.aspect == "score":
            name = item.outcome.measure
            asked.append((f"{name}_second_look", taste.second_looks(item.outcome)))
            asked.append((f"{name}_against_extraction", taste.against_extraction(item.outcome)))
    if "exploratory" in outcomes:
        asked.append(("exploratory_finds", taste.exploratory_finds))
    return asked


def _about_the_primary(given: Given) -> list[tuple[str, Maker]]:
    """What the primary outcome rests on. An unknown order is a limit, told with the verdict."""
    ordered = order_is_known(given.study)
    along: list[tuple[str, Maker]] = [
        ("order_effects", bench.along_the_order),
        ("carry_over", bench.from_shot_to_shot),
    ]
    return [
        *(along if ordered else []),
        *([("redrawn_schedules", claim.redrawn_schedules)] if given.schedule is not None else []),
        ("sensitivity", claim.every_variant),
        ("shot_time", consequences.shot_time),
        ("influence", claim.single_shots),
        *([("residual_order", claim.residual_order)] if ordered else []),
        ("residual_shape", claim.residual_shape),
    ]
