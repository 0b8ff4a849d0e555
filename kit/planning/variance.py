"""How noisy shots are: assumed, from a pilot, or pooled from the person's own past trials.

Always with its uncertainty (degrees of freedom) and its provenance in words, because a plan is
only as good as the noise it was computed from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.special import digamma, polygamma

from kit.analysis.designed_model import designed_model, error_columns, measured, study_shots
from kit.analysis.mixedmodel import MixedModelFit, fit_mixed_model
from kit.errors import KitError, PlanError
from kit.numerals import say_number
from kit.planning.assurance import sd_range
from kit.shotlog import read_shots
from kit.trial import TRIAL_FILE, Noise, Trial, read_trial

GUESS_DF = 8.0
"""A guess counts like an SD from nine shots: 0.45 may then truly be 0.30 to 0.86 (a design choice,
after the SDs of one public set of 176 shots, which ranged from 0.24 to 0.99)."""
FEWEST_PILOT_SHOTS = 4
MOST_TRIALS = 200


@dataclass(frozen=True)
class NoiseEstimate:
    """The noise a plan rests on."""

    shot_sd: float
    """SD of shots of one method under like conditions, in the unit of the outcome."""
    df: float
    """Degrees of freedom of ``shot_sd``."""
    session_sd: float
    block_sd: float
    provenance: str
    guessed: bool = False
    """Whether ``df`` only says how far a guess may be off."""

    def range(self, level: float = 0.95) -> tuple[float, float]:
        """Where the true shot SD lies with ``level``."""
        return sd_range(self.shot_sd, self.df, level)

    def as_noise(self) -> Noise:
        """The record that is kept in ``trial.toml``."""
        return Noise(
            shot_sd=self.shot_sd,
            shot_sd_df=None if self.guessed else self.df,
            session_sd=self.session_sd,
            block_sd=self.block_sd,
            provenance=self.provenance,
        )

    def sentence(self) -> str:
        """``Shot SD 0.45 (0.30 to 0.86), a guess without a source.``"""
        low, high = self.range()
        return (
            f"Shot SD {say_number(self.shot_sd, 2)} ({say_number(low, 2)} to "
            f"{say_number(high, 2)}), {self.provenance}."
        )


@dataclass(frozen=True)
class PastTrial:
    """What one finished trial says about the noise."""

    title: str
    shots: int
    shot_sd: float
    df: float
    session_sd: float
    block_sd: float


def noise_assumed(noise: Noise) -> NoiseEstimate:
    """The noise as written in the trial; without degrees of freedom as uncertain as a guess is."""
    return NoiseEstimate(
        noise.shot_sd,
        noise.shot_sd_df or GUESS_DF,
        noise.session_sd,
        noise.block_sd,
        noise.provenance,
        guessed=noise.shot_sd_df is None,
    )


def noise_from_pilot(
    shots: pd.DataFrame, assumed: Noise, when: str, measure: str = "ey_pct"
) -> NoiseEstimate:
    """The shot SD from a pilot session (usually control shots only).

    Parameters
    ----------
    shots
        One row a shot, with ``measure`` and, where they vary, ``method`` and ``session``.
    assumed
        Where the session and block SDs come from as far as the pilot cannot tell them.
    when
        The day, for the provenance ("2026-05-02").

    Raises
    ------
    PlanError
        If fewer than four shots were measured, or all read the same.
    """
    rows = shots[shots[measure].notna()]
    if len(rows) < FEWEST_PILOT_SHOTS:
        raise PlanError(
            f"The pilot holds {len(rows)} shots with “{measure}”; at least {FEWEST_PILOT_SHOTS} "
            "are needed, six to eight are common practice. Pull more control shots."
        )
    if np.ptp(rows[measure].to_numpy(dtype=float)) == 0:
        raise PlanError(
            f"All {len(rows)} pilot shots read {rows[measure].iloc[0]:g}. Shots are never all "
            "alike: look for a copied column or a coarse meter."
        )
    methods = rows["method"].nunique() if "method" in rows else 1
    random = tuple(name for name in error_columns(rows) if name == "session")
    fit = _fitted(rows, measure, "method" if methods > 1 else "1", random)
    found = _components(fit)
    what = "control shots" if methods == 1 else f"shots of {methods} methods"
    return NoiseEstimate(
        found["residual"],
        _residual_df(fit),
        found.get("session", assumed.session_sd),
        assumed.block_sd,
        f"from {len(rows)} {what} on {when}",
    )


def past_trials(folder: Path, measure: str = "ey_pct") -> list[PastTrial]:
    """Every finished trial under ``folder`` that can be analysed, by title.

    Raises
    ------
    PlanError
        If there is no such folder, or none of its trials has shots to learn from.
    """
    if not folder.is_dir():
        raise PlanError(f"{folder} is not a folder. Name the folder that holds your past trials.")
    found = []
    for path in sorted(folder.glob(f"*/{TRIAL_FILE}"))[:MOST_TRIALS]:
        try:
            found.append(_past_trial(path.parent, measure))
        except KitError:
            continue  # unfinished, damaged or another outcome: nothing to learn from here
    if not found:
        raise PlanError(
            f"No trial in {folder} has shots with “{measure}” to learn the noise from. "
            "Each past trial is a folder with trial.toml and its shots."
        )
    return found


def noise_from_past_trials(trials: list[PastTrial]) -> NoiseEstimate:
    """The noise to expect of the next trial, from past ones.

    The true SDs of the trials are taken to scatter like a scaled inverse chi-square (Smyth 2004,
    Stat. Appl. Genet. Mol. Biol. 3:3, section 6.2), fitted by moments of log s². Where they
    scatter no more than chance, the pooled SD with all its degrees of freedom is used.
    """
    if not trials:
        raise PlanError("There is no past trial to learn the noise from.")
    s2 = np.array([trial.shot_sd**2 for trial in trials])
    df = np.array([trial.df for trial in trials])
    centre, prior_df = _scatter_of_variances(s2, df)
    listed = ", ".join(f"{trial.title} {say_number(trial.shot_sd, 2)}" for trial in trials)
    many = "1 own past trial" if len(trials) == 1 else f"{len(trials)} own past trials"
    return NoiseEstimate(
        math.sqrt(centre),
        min(prior_df, float(df.sum())),
        math.sqrt(float(np.average([trial.session_sd**2 for trial in trials], weights=df))),
        math.sqrt(float(np.average([trial.block_sd**2 for trial in trials], weights=df))),
        f"from {many} ({listed})",
    )


def _past_trial(folder: Path, measure: str) -> PastTrial:
    trial: Trial = read_trial(folder)
    rows, _ = study_shots(read_shots(folder), trial)
    rows, _ = measured(rows, measure)
    model = designed_model(trial, rows, measure)
    fit = _fitted(rows, measure, model.fixed, model.random)
    found = _components(fit)
    return PastTrial(
        trial.title,
        len(rows),
        found["residual"],
        _residual_df(fit),
        found.get("session", 0.0),
        found.get("whole_plot", found.get("block", 0.0)),
    )


def _fitted(rows: pd.DataFrame, measure: str, fixed: str, random: tuple[str, ...]) -> MixedModelFit:
    return fit_mixed_model(rows, measure, fixed, list(random))


def _components(fit: MixedModelFit) -> dict[str, float]:
    """SD of every component."""
    return {str(name): math.sqrt(value) for name, value in fit.variance_components.items()}


def _residual_df(fit: MixedModelFit) -> float:
    """2σ⁴/Var(σ̂²) from the expected information: n - p - (blocks) in balanced layouts."""
    weight = np.linalg.inv(0.5 * fit.moments.trace_pp)
    return float(2 * fit.theta[-1] ** 2 / weight[-1, -1])


def _scatter_of_variances(s2: np.ndarray, df: np.ndarray) -> tuple[float, float]:
    """s₀² and d₀ of Smyth (2004), section 6.2; d₀ infinite where chance explains the scatter."""
    pooled = float(np.average(s2, weights=df))
    if len(s2) < 2:
        return pooled, math.inf
    e = np.log(s2) - digamma(df / 2) + np.log(df / 2)
    excess = float(e.var(ddof=1) - polygamma(1, df / 2).mean())
    if excess <= 0:
        return pooled, math.inf
    prior_df = 2 * float(brentq(lambda x: polygamma(1, x) - excess, 1e-3, 1e6))
    centre = float(np.exp(e.mean() + digamma(prior_df / 2) - np.log(prior_df / 2)))
    return centre, prior_df
