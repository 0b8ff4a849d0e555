"""How well a shot is measured: repeatability, the uncertainty budget of EY, and what buys more.

Readings of one shot are sub-samples: they say how well the shot was measured and never count as
shots.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from kit.errors import DataError, ModelError
from kit.extraction import Uncertainty, yield_uncertainty

BETTER_SCALE_STEP_G = 0.01
MORE_READINGS = 3


@dataclass(frozen=True)
class Repeatability:
    """The spread of readings of the same cup, in the unit of the reading."""

    sd: float
    df: int
    lower: float
    upper: float
    """95 % limits of the SD, by chi square (exact for normal readings)."""
    limit: float
    """Two readings of one cup differ by more than this once in twenty (ISO 5725-6, 4.1)."""
    cups: int
    readings: int


def repeatability(
    readings: pd.DataFrame, response: str = "tds_pct", cup: str = "shot"
) -> Repeatability:
    """Pooled SD of repeated readings within cups (ISO 5725-2: repeatability SD).

    Parameters
    ----------
    readings
        One row a reading; cups read only once say nothing here and are passed over.

    Raises
    ------
    ModelError
        If no cup was read twice.
    """
    values = readings.dropna(subset=[response])
    groups = values.groupby(cup, observed=True, sort=False)[response]
    repeated = groups.transform("size") > 1
    within = (values[response] - groups.transform("mean"))[repeated]
    cups = int(values.loc[repeated, cup].nunique())
    df = int(repeated.sum()) - cups
    if df < 1:
        raise ModelError(
            "No cup was read twice, so nothing shows how well readings repeat. Read one cup five "
            "times, then three cups three times each."
        )
    sd = math.sqrt(float((within**2).sum()) / df)
    low, high = np.sqrt(df / stats.chi2.ppf([0.975, 0.025], df)) * sd
    limit = float(stats.norm.ppf(0.975)) * math.sqrt(2) * sd
    return Repeatability(sd, df, float(low), float(high), limit, cups, int(repeated.sum()))


def variance_shares(
    readings: pd.DataFrame,
    response: str = "tds_pct",
    shot: str = "shot",
    sample: str | None = None,
) -> pd.DataFrame:
    """How the variance of single readings splits over shots, samples of a shot, and readings.

    Components by REML with no variance below zero (equal to the analysis of variance where the
    layout is balanced and none is negative).

    Returns
    -------
    Columns ``source, variance, sd, share``; sources ``shot``, ``sample`` where given, ``reading``.

    Raises
    ------
    ModelError
        If there are too few shots or readings to tell the parts apart.
    """
    from kit.analysis.mixedmodel import fit_mixed_model

    random = [shot] if sample is None else [shot, sample]
    fit = fit_mixed_model(readings, response=response, fixed="1", random=random)
    components = fit.variance_components
    names = {shot: "shot", sample: "sample", "residual": "reading"}
    table = pd.DataFrame(
        {
            "source": [names[name] for name in components.index],
            "variance": components.to_numpy(dtype=float),
        }
    )
    table["sd"] = np.sqrt(table["variance"])
    table["share"] = table["variance"] / table["variance"].sum()
    return table


def effective_df(parts: list[tuple[float, float]]) -> float:
    """Degrees of freedom of a combined uncertainty, from pairs (contribution, its df).

    Source: Welch–Satterthwaite, JCGM 100:2008, equation (G.2b). Infinite df are allowed.
    """
    total = sum(u**2 for u, _ in parts)
    spread = sum(u**4 / df for u, df in parts if math.isfinite(df))
    return total**2 / spread if spread > 0 else math.inf


def coverage_factor(df: float, level: float = 0.95) -> float:
    """Factor by which a standard uncertainty is multiplied (JCGM 100:2008, G.3)."""
    tail = 0.5 + level / 2
    return float(stats.t.ppf(tail, df) if math.isfinite(df) else stats.norm.ppf(tail))


@dataclass(frozen=True)
class Instruments:
    """What the shots were measured with."""

    dose_step_g: float = 0.1
    beverage_step_g: float = 0.1
    tds_step_pct: float = 0.01
    repeatability_sd_pct: float = 0.03
    """SD of repeated TDS readings of one cup; 0.02 to 0.06 is common practice, no source."""
    repeatability_df: float = math.inf
    readings: int = 1
    """Readings of each cup, averaged."""

    def uncertainty(self) -> Uncertainty:
        """Standard uncertainties: half-steps (JCGM 100, F.2.2.1) and repeatability of the mean.

        A mass is a difference of two weighings (cup or basket empty and full), each with its own
        step: √2 × step / √12.
        """
        steps = Uncertainty.from_resolutions(
            self.tds_step_pct, self.beverage_step_g, self.dose_step_g
        )
        tds = math.hypot(steps.tds_pct, self.repeatability_sd_pct / math.sqrt(self.readings))
        return Uncertainty(tds, math.sqrt(2) * steps.beverage_g, math.sqrt(2) * steps.dose_g)


@dataclass(frozen=True)
class Budget:
    """The uncertainty budget of one extraction yield."""

    table: pd.DataFrame
    """Columns ``source, standard_uncertainty, unit, sensitivity, contribution_points, share``."""
    ey_pct: float
    standard_points: float
    df: float
    expanded_points: float
    """Half-width of the 95 % interval."""


def uncertainty_budget(
    tds_pct: float, beverage_g: float, dose_g: float, u: Uncertainty, tds_df: float = math.inf
) -> Budget:
    """Where the uncertainty of an extraction yield comes from.

    Source: JCGM 100:2008, equations (10) and (G.2b); layout as in its table H.1.

    Raises
    ------
    DataError
        If a mass or reading is not positive, or an uncertainty is negative.
    """
    combined = yield_uncertainty(tds_pct, beverage_g, dose_g, u)
    ey = combined.ey_pct
    sources = [("TDS", u.tds_pct, "%", ey / tds_pct, combined.share_tds),
               ("beverage", u.beverage_g, "g", ey / beverage_g, combined.share_beverage),
               ("dose", u.dose_g, "g", -ey / dose_g, combined.share_dose)]  # fmt: skip
    table = pd.DataFrame(
        sources, columns=["source", "standard_uncertainty", "unit", "sensitivity", "share"]
    )
    table.insert(4, "contribution_points", table["standard_uncertainty"] * table["sensitivity"])
    parts = [
        (contribution, tds_df if source == "TDS" else math.inf)
        for source, contribution in zip(table["source"], table["contribution_points"], strict=True)
    ]
    df = effective_df(parts)
    expanded = coverage_factor(df) * combined.u_ey_pct
    return Budget(table, ey, combined.u_ey_pct, df, expanded)


def what_buys_more(
    shot_sd_points: float,
    shots_per_method: int,
    instruments: Instruments,
    typical: tuple[float, float, float],
) -> pd.DataFrame:
    """The standard error of a method's mean under each single improvement.

    Parameters
    ----------
    shot_sd_points
        SD of a shot's EY as observed, measurement included.
    typical
        A typical TDS in percent, beverage in g and dose in g.

    Returns
    -------
    Columns ``change, measurement_sd, shot_sd, standard_error, gain_pct, worth_shots``: the last is
    the number of extra shots a method that would bring the same. The first row is “as it is”.

    Raises
    ------
    DataError
        If there are no shots, or the SD is not above zero.
    """
    if shots_per_method < 1 or shot_sd_points <= 0 or instruments.readings < 1:
        raise DataError("Shots, readings and the SD of a shot must be above zero.")
    now = yield_uncertainty(*typical, instruments.uncertainty()).u_ey_pct
    puck = max(shot_sd_points**2 - now**2, 0.0)
    rows = []
    for change, improved, shots in _improvements(instruments, shots_per_method):
        measured = yield_uncertainty(*typical, improved.uncertainty()).u_ey_pct
        sd = math.sqrt(puck + measured**2) if puck > 0 else min(measured, shot_sd_points)
        rows.append((change, measured, sd, sd / math.sqrt(shots)))
    table = pd.DataFrame(rows, columns=["change", "measurement_sd", "shot_sd", "standard_error"])
    as_it_is = float(table["standard_error"].iloc[0])
    table["gain_pct"] = 100 * (1 - table["standard_error"] / as_it_is)
    table["worth_shots"] = shots_per_method * ((as_it_is / table["standard_error"]) ** 2 - 1)
    return table


def _improvements(now: Instruments, shots: int) -> list[tuple[str, Instruments, int]]:
    """As it is, and one change at a time."""
    fine = BETTER_SCALE_STEP_G
    values = dict(now.__dict__)
    return [
        ("as it is", now, shots),
        (f"weigh the dose to {fine:g} g", Instruments(**{**values, "dose_step_g": fine}), shots),
        (
            f"weigh dose and beverage to {fine:g} g",
            Instruments(**{**values, "dose_step_g": fine, "beverage_step_g": fine}),
            shots,
        ),
        (
            f"{now.readings + MORE_READINGS - 1} readings of each cup",
            Instruments(**{**values, "readings": now.readings + MORE_READINGS - 1}),
            shots,
        ),
        ("two more shots of each method", now, shots + 2),
    ]


def measurement_sentence(table: pd.DataFrame, shot_sd_points: float) -> str:
    """What ``what_buys_more`` comes to, in one or two sentences."""
    now = float(table["measurement_sd"].iloc[0])
    share = min(now**2 / shot_sd_points**2, 1.0)
    best = table.iloc[1:].sort_values("gain_pct", ascending=False, kind="stable").iloc[0]
    said = (
        f"Measurement makes up {100 * share:.0f} % of the variance from shot to shot "
        f"(SD {now:.2f} of {shot_sd_points:.2f} points). "
    )
    if best["gain_pct"] < 0.5:
        return said + "None of the changes listed would show."
    return said + (
        f"Of the changes listed, “{best['change']}” brings most: the standard error falls by "
        f"{best['gain_pct']:.0f} %."
    )
