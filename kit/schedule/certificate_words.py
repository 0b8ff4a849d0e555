"""The certificate in plain words."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from kit.numerals import say_number
from kit.schedule.scheme import Scheme
from kit.trial import Trial


def summary_rows(
    study: pd.DataFrame,
    counts: pd.DataFrame,
    contrasts: pd.DataFrame,
    efficiencies: dict[str, float],
    scheme: Scheme,
) -> pd.DataFrame:
    """The lines of the certificate: quantity, value, and what it means."""
    rows = [
        ("Shots a method", _span(study["method"].value_counts()), "Study shots of each method."),
        *(_balance_row(counts, kind, *words) for kind, words in _BALANCES.items()),
        *_efficiency_rows(efficiencies),
        *_error_rows(contrasts),
        ("Allowed schedules", _size(scheme.log10_size), scheme.words()),
    ]
    found = [row for row in rows if row[1]]
    return pd.DataFrame(found, columns=["quantity", "value", "meaning"])


_BALANCES = {
    "session": ("Shots of a method in a session", "Equal numbers keep days from favouring any."),
    "bag": ("Shots of a method in a bag", "Equal numbers keep bags from favouring any."),
    "position": ("Shots of a method in a place", "How evenly methods are spread over a block."),
    "follower": (
        "Times a method follows another in a block",
        "How evenly the residue of the shot before falls within blocks.",
    ),
    "predecessor": (
        "Times a method follows another in all",
        "The same with the joins between blocks and the reference shots counted too.",
    ),
}


def _balance_row(
    counts: pd.DataFrame, kind: str, quantity: str, meaning: str
) -> tuple[str, str, str]:
    cells = counts[counts["kind"] == kind]
    if kind in ("follower", "predecessor"):
        cells = cells[cells["level"] != cells["method"]]
    if cells.empty:
        return quantity, "", meaning
    return quantity, _span(cells["shots"]), meaning


def _span(values: pd.Series) -> str:
    low, high = int(values.min()), int(values.max())
    return f"{low}" if low == high else f"{low} to {high}"


def _efficiency_rows(efficiencies: dict[str, float]) -> list[tuple[str, str, str]]:
    if not efficiencies:
        return []
    average, bound = efficiencies["average"], efficiencies["bound"]
    cost = (1 / average - 1) * 100 if average > 0 else math.inf
    meaning = (
        "Blocks cost nothing."
        if cost < 0.05
        else "Some differences cannot be estimated within blocks."
        if not math.isfinite(cost)
        else f"Blocks this small cost as much as pulling {cost:.0f} % more shots would give back."
    )
    of_bound = f"No layout of this size can do better than {say_number(bound, 3)}."
    least = f"{say_number(efficiencies['least'], 3)}"
    return [
        ("Average efficiency", say_number(average, 3), f"{meaning} {of_bound}"),
        ("Least efficiency", least, "Of any comparison whatever between methods."),
    ]


def _error_rows(contrasts: pd.DataFrame) -> list[tuple[str, str, str]]:
    rows = []
    pairs = contrasts[contrasts["kind"] == "pair"]
    words = "Of a difference between two methods, blocks taken out, for a shot SD of 1."
    rows.append(("Standard error per unit of noise", _numbers(pairs["se_within_blocks"]), words))
    words = "Of a difference between two methods, with the noise this trial assumes."
    rows.append(("Expected standard error", _numbers(pairs["se_expected"]), words))
    effects = contrasts[contrasts["kind"] == "effect"]
    for name, group in effects.groupby("contrast", sort=False):
        words = "Of this effect, with the noise this trial assumes."
        rows.append((f"Expected standard error, {name}", _numbers(group["se_expected"]), words))
    return rows


def _numbers(values: pd.Series) -> str:
    finite = values[np.isfinite(values)]
    if finite.empty:
        return "not estimable"
    low, high = say_number(finite.min(), 3), say_number(finite.max(), 3)
    span = low if low == high else f"{low} to {high}"
    return span if len(finite) == len(values) else f"{span}; some not estimable"


def _size(log10_size: float) -> str:
    if log10_size < 6:
        return f"{round(10**log10_size):,}".replace(",", " ")
    return f"about 10^{math.floor(log10_size)}"


def confounding_sentences(
    trial: Trial, study: pd.DataFrame, contrasts: pd.DataFrame
) -> tuple[str, ...]:
    """What cannot be told apart from what in this schedule."""
    found = [
        *_same_grouping(study),
        *_hard_factors(trial, study),
        *_lost_effects(trial, contrasts),
    ]
    if not found:
        found = ["No method is confounded with a session, a bag, a block or a place."]
    return tuple(found)


def _same_grouping(study: pd.DataFrame) -> list[str]:
    """Groupings that are one and the same, so that their noise cannot be told apart."""
    names = {"session": "Session", "bag": "bag", "whole_plot": "whole plot", "block": "block"}
    columns = [column for column in names if study[column].nunique() > 1]
    found = []
    for i, outer in enumerate(columns):
        for inner in columns[i + 1 :]:
            if study.groupby([outer, inner]).ngroups == study[outer].nunique():
                one, two = names[outer], names[inner]
                if study[inner].nunique() == study[outer].nunique():
                    found.append(
                        f"{one.capitalize()} and {two} are the same runs of shots: what one does "
                        "cannot be told from what the other does. Methods are not affected."
                    )
    return found


def _hard_factors(trial: Trial, study: pd.DataFrame) -> list[str]:
    found = []
    for factor in trial.hard_factors:
        plots, sessions = study["whole_plot"].nunique(), study["session"].nunique()
        settings = study.groupby("whole_plot")[factor.name].first().nunique()
        within = plots > sessions
        df = plots - (sessions if within else 1) - (settings - 1)
        noise = "half-sessions (whole plots)" if within else "sessions"
        found.append(
            f"{factor.name} changes only from one whole plot to the next, so it is judged against "
            f"the noise between {noise}: about {max(df, 0)} degrees of freedom, however many "
            "shots are pulled. Its interplay with the other factors is judged between shots."
        )
    return found


def _lost_effects(trial: Trial, contrasts: pd.DataFrame) -> list[str]:
    hard = {factor.name for factor in trial.hard_factors}
    found = []
    for name, group in contrasts.groupby("contrast", sort=False):
        if not set(str(name).split(" × ")).isdisjoint(hard) and " × " not in str(name):
            continue
        share = float(group["efficiency"].mean())
        what = "Differences between methods" if name == "method" else str(name)
        if share < 1e-6:
            found.append(f"{what} cannot be told from differences between blocks.")
        elif share < 1 - 1e-6:
            found.append(
                f"{what}: {share * 100:.0f} % of the information lies within blocks, the rest is "
                "mixed with differences between blocks, places or predecessors."
            )
    return found
