"""The model that the design calls for, and the rows it is fitted to.

The layout decides the error terms, not the data: every way in which the order was restricted
(session, bag, whole plot, block) stays in the model, whatever its variance turns out to be.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from kit.errors import DataError, ModelError
from kit.trial import Trial

MASS_DEVIATION = "beverage_deviation_g"


@dataclass(frozen=True)
class DesignedModel:
    """Response, fixed part (Wilkinson and Rogers 1973 notation) and random intercepts."""

    response: str
    fixed: str
    random: tuple[str, ...]

    def words(self) -> str:
        """The model in one sentence for the methods paragraph."""
        if not self.random:
            return f"{self.response} by {self.fixed}, every shot independent"
        levels = ", ".join(column.replace("_", " ") for column in self.random)
        return f"{self.response} by {self.fixed}, with random intercepts for {levels}"


@dataclass(frozen=True)
class SetAside:
    """Rows that do not enter an analysis, with count and reason (a person is told each)."""

    reason: str
    shots: tuple[int, ...]

    def sentence(self) -> str:
        """``2 shots set aside (5, 17): spill.``"""
        count = len(self.shots)
        listed = ", ".join(str(shot) for shot in self.shots)
        return f"{count} {'shot' if count == 1 else 'shots'} set aside ({listed}): {self.reason}."


def designed_model(trial: Trial, table: pd.DataFrame, measure: str = "ey_pct") -> DesignedModel:
    """The model for ``measure`` on the study shots of a trial.

    Parameters
    ----------
    table
        Study shots with the columns of the codebook (one row a shot). Columns that hold one
        value only (one session, no blocks) cannot be error terms and are left out.
    """
    fixed = _treatment_part(trial, table)
    if trial.layout.design == "latin square" and _varies(table, "position"):
        fixed += " + position"
    if trial.layout.design == "carry-over balanced" and _varies(table, "previous_method"):
        fixed += " + previous_method"
    if trial.rules.mass_covariate and measure == "ey_pct":
        fixed += f" + {MASS_DEVIATION}"
    return DesignedModel(measure, fixed, error_columns(table))


def error_columns(table: pd.DataFrame) -> tuple[str, ...]:
    """The restrictions of randomisation that can be told apart in ``table``, outermost first.

    A column counts when it has at least two levels, is coarser than single shots, and does not
    repeat the grouping of one that counts already.
    """
    found: list[str] = []
    groupings: list[int] = []
    for column in ("session", "bag", "whole_plot", "block"):
        if column not in table or not _varies(table, column):
            continue
        levels = table[column].nunique()
        repeats_outer = any(
            levels == outer and _same_grouping(table, column, name)
            for name, outer in zip(found, groupings, strict=True)
        )
        if levels < len(table) and not repeats_outer:
            found.append(column)
            groupings.append(levels)
    return tuple(found)


def study_shots(shots: pd.DataFrame, trial: Trial) -> tuple[pd.DataFrame, list[SetAside]]:
    """The shots of the primary analysis (study shots that were kept), and what was set aside.

    The returned table has ``method`` (and every factor) as ordered-by-the-plan categories,
    ``beverage_deviation_g`` from the recipe's target, ``position`` as categories, and
    ``previous_method`` (the study or reference method pulled before it in the session).

    Raises
    ------
    DataError
        If no study shot was kept.
    """
    table = with_model_columns(shots, trial)
    pulled = table[table["role"] == "study"]
    aside = [
        SetAside(
            f"{status} ({reason})" if reason else str(status), tuple(group["shot"].astype(int))
        )
        for (status, reason), group in pulled[pulled["status"] != "kept"]
        .assign(reason=lambda rows: rows["reason"].fillna(""))
        .groupby(["status", "reason"], sort=True)
    ]
    kept = pulled[pulled["status"] == "kept"]
    if kept.empty:
        raise DataError("There is no study shot to analyse. Log the shots of the schedule first.")
    return kept.reset_index(drop=True), aside


def order_is_known(table: pd.DataFrame) -> bool:
    """Whether the shots stand in the order pulled; a table brought along may not say."""
    return "session_position" in table and bool(table["session_position"].notna().any())


def _with_role_and_status(shots: pd.DataFrame) -> pd.DataFrame:
    """Shots that came without a plan are study shots that were kept."""
    roles = shots["role"].astype(object) if "role" in shots else pd.Series(index=shots.index)
    status = shots["status"].astype(object) if "status" in shots else pd.Series(index=shots.index)
    reasons = shots["reason"] if "reason" in shots else pd.Series(index=shots.index, dtype=object)
    return shots.assign(
        reason=reasons,
        role=roles.where(roles.notna() & (roles != ""), "study"),
        status=status.where(status.notna() & (status != ""), "kept"),
    )


def with_model_columns(shots: pd.DataFrame, trial: Trial) -> pd.DataFrame:
    """Every shot with the columns the models need (see :func:`study_shots`)."""
    table = _with_role_and_status(shots)
    settings = {method.name: method.settings for method in trial.methods}
    for factor in trial.factors:
        if factor.name not in table and not factor.hard_to_change:
            table[factor.name] = [
                settings.get(str(name), {}).get(factor.name) for name in table["method"]
            ]
        if factor.name in table:
            table[factor.name] = pd.Categorical(table[factor.name], categories=list(factor.levels))
    table["method"] = pd.Categorical(table["method"], categories=trial.method_names)
    table[MASS_DEVIATION] = table["beverage_g"] - trial.recipe.beverage_g
    before = table.groupby("session", sort=False)["method"].shift(1).astype(object)
    table["previous_method"] = before.where(before.notna(), "none")
    if "position" in table:
        places = table["position"].astype("Int64")
        table["position"] = places.astype(str).where(places.notna())
    return table


def measured(table: pd.DataFrame, measure: str) -> tuple[pd.DataFrame, list[SetAside]]:
    """The rows in which ``measure`` was taken; the others are named, never dropped in silence.

    Raises
    ------
    ModelError
        If fewer than two methods, or fewer than two shots in all, are left.
    """
    missing = table[measure].isna()
    aside = (
        [SetAside(f"{measure} not measured", tuple(table.loc[missing, "shot"].astype(int)))]
        if missing.any()
        else []
    )
    left = table[~missing].copy()
    left["method"] = left["method"].cat.remove_unused_categories()
    if left["method"].nunique() < 2:
        only = ", ".join(map(str, left["method"].unique())) or "none"
        raise ModelError(
            f"{measure} was measured for fewer than two methods ({only}), so there is nothing to "
            "compare. Enter the missing readings or compare another outcome."
        )
    return left.reset_index(drop=True), aside


def _treatment_part(trial: Trial, table: pd.DataFrame) -> str:
    if not trial.factors:
        return "method"
    varying = [factor.name for factor in trial.factors if _varies(table, factor.name)]
    return " * ".join(varying) if varying else "method"


def _varies(table: pd.DataFrame, column: str) -> bool:
    return column in table and table[column].nunique(dropna=True) > 1


def _same_grouping(table: pd.DataFrame, one: str, other: str) -> bool:
    return bool(table.groupby([one, other], observed=True).ngroups == table[one].nunique())
