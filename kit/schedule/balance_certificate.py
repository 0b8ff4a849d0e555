"""The certificate of a schedule: what is balanced against what, and what that is worth.

Everything is counted from the schedule as it stands, not from what the design promised.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.design.blockdesign import BlockDesign
from kit.design.efficiency import (
    canonical_efficiency_factors,
    efficiency_bound,
    efficiency_factor,
)
from kit.schedule.certificate_words import confounding_sentences, summary_rows
from kit.schedule.expected_errors import expected_errors
from kit.schedule.randomisation import randomisation_scheme
from kit.trial import Trial

BEFORE_ANY = "none"


@dataclass(frozen=True)
class Certificate:
    """What a schedule balances, as tidy tables and as words."""

    counts: pd.DataFrame
    """``kind`` (position, follower, predecessor, session, bag, whole_plot), ``method``,
    ``level``, ``shots``: the cross tables of methods, one cell a row. A follower follows within
    its block; a predecessor may be a reference shot or stand in the block before."""
    concurrences: pd.DataFrame
    """``a``, ``b``, ``blocks``: in how many blocks two methods meet."""
    contrasts: pd.DataFrame
    """``kind`` (pair or effect), ``contrast``, ``a``, ``b``, ``efficiency``,
    ``se_within_blocks`` (per unit of shot SD), ``se_expected`` (in the unit of the outcome)."""
    summary: pd.DataFrame
    """``quantity``, ``value``, ``meaning``: one line each, fit to print."""
    confounding: tuple[str, ...]
    """What cannot be told apart from what, a sentence each."""

    def words(self) -> str:
        """The certificate as a paragraph."""
        lines = [f"{row.quantity}: {row.value}. {row.meaning}" for row in self.summary.itertuples()]
        return "\n".join([*lines, *self.confounding])

    def cross_table(self, kind: str) -> pd.DataFrame:
        """Methods × levels of one kind of balance (empty where the trial has no such levels)."""
        rows = self.counts[self.counts["kind"] == kind]
        return rows.pivot_table(
            index="method", columns="level", values="shots", aggfunc="sum", sort=False
        )

    def count_tables(self) -> dict[str, pd.DataFrame]:
        """The cross tables worth a picture, by title; a cell that cannot occur is missing."""
        tables = {title: self.cross_table(kind) for kind, title in _PICTURED.items()}
        followers = tables[_PICTURED["follower"]].astype(float)
        for name in followers.index.intersection(followers.columns):
            if followers.loc[name, name] == 0:
                followers.loc[name, name] = np.nan
        tables[_PICTURED["follower"]] = followers
        return {title: table for title, table in tables.items() if table.size}


_PICTURED = {
    "position": "Method by place in the block",
    "follower": "Method by the one before it in the block",
    "session": "Method by session",
    "bag": "Method by bag",
}


def certificate(trial: Trial, schedule: pd.DataFrame) -> Certificate:
    """The certificate of a schedule.

    Parameters
    ----------
    schedule
        As drawn: columns of ``codebook.SCHEDULE`` and of the factors.

    Raises
    ------
    PlanError
        If the layout of the trial cannot be had.
    """
    scheme = randomisation_scheme(trial)
    study = with_predecessors(schedule)
    study = study[study["role"] == "study"]
    design = block_design_of(trial, study)
    counts = _counts(trial, study)
    contrasts = expected_errors(trial, study)
    return Certificate(
        counts=counts,
        concurrences=_concurrences(trial, design),
        contrasts=contrasts,
        summary=summary_rows(study, counts, contrasts, _efficiencies(design), scheme),
        confounding=confounding_sentences(trial, study, contrasts),
    )


def with_predecessors(schedule: pd.DataFrame) -> pd.DataFrame:
    """The schedule with ``predecessor``: the study or reference method pulled just before in the
    session, “none” after warm-up, dial-in or a spare and at the start; and ``follower``: the
    method before it in the same block."""
    table = schedule.copy()
    carries = table["method"].where(table["role"].isin(["study", "reference"]), BEFORE_ANY)
    before = carries.groupby(table["session"], sort=False).shift(1)
    table["predecessor"] = before.fillna(BEFORE_ANY).astype(str)
    table["follower"] = table["predecessor"].where(table["position"].fillna(1) > 1, BEFORE_ANY)
    return table


def block_design_of(trial: Trial, study: pd.DataFrame) -> BlockDesign | None:
    """The blocks as they stand in the schedule; None where blocks differ in size."""
    number = {name: i for i, name in enumerate(trial.method_names)}
    blocks = [
        tuple(number[str(method)] for method in methods)
        for _, methods in study.groupby("block", sort=False)["method"]
    ]
    if len({len(block) for block in blocks}) != 1:
        return None
    return BlockDesign(len(number), tuple(blocks), "as scheduled")


def _counts(trial: Trial, study: pd.DataFrame) -> pd.DataFrame:
    """Every cross table in one tidy table; a cell without a shot is a zero, not a gap."""
    kinds = ("position", "follower", "predecessor", "session", "bag", "whole_plot")
    tables = [_cross_counts(trial, study, kind) for kind in kinds]
    return pd.concat(tables, ignore_index=True)[["kind", "method", "level", "shots"]]


def _cross_counts(trial: Trial, study: pd.DataFrame, kind: str) -> pd.DataFrame:
    levels = [level for level in study[kind].drop_duplicates() if level != ""]
    if kind == "position":
        levels = sorted(levels)
    if kind in ("follower", "predecessor"):
        levels = [name for name in trial.method_names if name in set(levels)]
    cells = pd.crosstab(study["method"], study[kind])
    cells = cells.reindex(index=trial.method_names, columns=levels, fill_value=0)
    return pd.DataFrame(
        {
            "kind": kind,
            "method": np.repeat(trial.method_names, len(levels)),
            "level": [str(level) for level in levels] * len(trial.methods),
            "shots": cells.to_numpy().ravel().astype(int),
        }
    )


def _concurrences(trial: Trial, design: BlockDesign | None) -> pd.DataFrame:
    rows = []
    if design is not None:
        incidence = (design.incidence > 0).astype(int)
        meet = incidence @ incidence.T
        names = trial.method_names
        rows = [
            {"a": names[i], "b": names[j], "blocks": int(meet[i, j])}
            for i, j in zip(*np.triu_indices(len(names), 1), strict=True)
        ]
    return pd.DataFrame(rows, columns=["a", "b", "blocks"])


def _efficiencies(design: BlockDesign | None) -> dict[str, float]:
    """Average and least efficiency and the bound; empty where blocks differ in size."""
    if design is None:
        return {}
    size = min(design.block_size, design.n_methods)
    return {
        "average": efficiency_factor(design),
        "least": float(canonical_efficiency_factors(design).min()),
        "bound": efficiency_bound(design.n_methods, size, design.n_blocks),
    }
