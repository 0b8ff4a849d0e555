"""What the claim rests on: the draw itself, the choices of the analysis, single shots, the fit."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.analysis.contrast_families import (
    MINUS,
    Contrasts,
    control_contrasts,
    factorial_contrasts,
    pair_contrasts,
)
from kit.analysis.designed_model import MASS_DEVIATION
from kit.analysis.diagnostics import influence, normal_plot, residuals_in_order
from kit.analysis.randomisation import disagrees, randomisation_test, study_places
from kit.analysis.result import DIFFERENT, OutcomeResult
from kit.analysis.sensitivity import DECLARED, OWN_SDS, depends_on_method, sensitivity
from kit.analysis.supplements.given import Given, Supplement, records
from kit.errors import ModelError
from kit.numerals import say_p
from kit.schedule import randomisation_scheme


def redrawn_schedules(given: Given) -> Supplement:
    """The primary comparisons judged by drawing the schedule again."""
    rows, model = given.primary_rows()
    if given.schedule is None:
        raise ModelError("The order was not drawn at random, so the draw cannot be repeated.")
    contrasts, pairs = _contrasts_to_redraw(given, rows)
    test = randomisation_test(
        rows,
        study_places(rows, given.schedule),
        randomisation_scheme(given.trial),
        contrasts,
        given.rng,
        measure=model.response,
        random=model.random,
    )
    table = test.contrasts
    table.insert(0, "a", [a for a, _ in pairs])
    table.insert(1, "b", [b for _, b in pairs])
    model_p = _model_p(given.primary)
    table["p_model"] = [model_p.get((a, b), np.nan) for a, b in pairs]
    moved = [
        row.contrast
        for row in records(table)
        if np.isfinite(row.p_model) and disagrees(row.p_model, row.p_low, row.p_high)
    ]
    said = _redrawn_words(test.draws, test.exhaustive, test.p, moved)
    return table, said + _not_redrawn(given)


def _redrawn_words(draws: int, exhaustive: bool, p: float, moved: list[str]) -> str:
    how = f"all {draws} schedules of the set" if exhaustive else f"{draws} schedules drawn again"
    said = f"By {how}, no difference at all between methods: {say_p(p)}."
    if moved:
        said += (
            f" For {', '.join(moved)} this disagrees with the model by more than chance; trust the "
            "draw, and say so."
        )
    else:
        said += " No comparison disagrees with the model by more than chance."
    return said


def _not_redrawn(given: Given) -> str:
    """Only the order of methods is drawn again; settings of whole plots stay where they were."""
    hard = [factor.name for factor in given.trial.hard_factors]
    return f" What was set for whole plots ({', '.join(hard)}) is not drawn again." if hard else ""


def _contrasts_to_redraw(
    given: Given, rows: pd.DataFrame
) -> tuple[Contrasts, list[tuple[str, ...]]]:
    """The contrasts of the primary family, and what the primary result calls their two sides."""
    trial, family = given.trial, given.primary.outcome.family
    levels = {factor.name: factor.levels for factor in trial.easy_factors}
    settings = {method.name: method.settings for method in trial.methods}
    effects = factorial_contrasts(settings, levels) if family == "factorial" else {}
    if effects:
        return effects, [name.partition(MINUS)[::2] for name in effects]
    present = [str(name) for name in rows["method"].cat.categories]
    against_control = family == "against control" and trial.control in present
    chosen = (
        control_contrasts(present, str(trial.control))
        if against_control
        else pair_contrasts(present)
    )
    return chosen, [tuple(weights) for weights in chosen.values()]


def _model_p(primary: OutcomeResult) -> dict[tuple[str, str], float]:
    """Unadjusted, as the limits of the redrawn p are for one contrast at a time."""
    return {(row["a"], row["b"]): float(row["p"]) for row in primary.difference_rows()}


def every_variant(given: Given) -> Supplement:
    """The primary comparisons under every defensible analysis, and whether a verdict moves."""
    found = sensitivity(given.trial, given.shots, given.primary.outcome)
    variants = found.table["variant"].nunique()
    moved = [f"{a} and {b}" if b else a for a, b in found.moved]
    said = (
        f"In {variants} ways to analyse, the verdict moves for {', '.join(moved)}."
        if moved
        else f"In {variants} ways to analyse, no verdict moves."
    )
    told = (said, _own_sds_words(given, found.table), _mass_words(given))
    return found.table, " ".join(part for part in told if part)


def _own_sds_words(given: Given, table: pd.DataFrame) -> str:
    """What an SD for each method would change, where the shots show that their SDs differ."""
    measure = given.primary.outcome.measure
    uneven = any(
        (item.differences["verdict"] == DIFFERENT).any()
        for item in given.results
        if item.outcome.aspect == "spread" and item.outcome.measure == measure
    )
    if not uneven or OWN_SDS not in set(table["variant"]):
        return ""
    declared = {(row.a, row.b): row.verdict for row in records(table[table["variant"] == DECLARED])}
    changed = [
        f"{f'{row.a} and {row.b}' if row.b else row.a} “{row.verdict}”"
        for row in records(table[table["variant"] == OWN_SDS])
        if row.verdict != declared[row.a, row.b]
    ]
    would = f"would make {', '.join(changed)}" if changed else "would change no verdict"
    return (
        "Shots of one method scatter more than those of another, so one SD for all fits none of "
        f"them well; an SD for each {would}."
    )


def _mass_words(given: Given) -> str:
    """Whether beverage mass could be adjusted for; nothing where it was not weighed."""
    if given.study[MASS_DEVIATION].isna().any():
        return ""
    p = depends_on_method(given.trial, given.study, MASS_DEVIATION)
    mass = "may depend on the method, so adjusting for it may take away" if p < 0.05 else (
        "shows no dependence on the method, so adjusting for it does not take away"
    )  # fmt: skip
    return f"Beverage mass {mass} part of what is measured ({say_p(p)})."


def single_shots(given: Given) -> Supplement:
    """Whether leaving out one shot would change a verdict."""
    found = influence(given.trial, given.study, given.primary.outcome)
    return found.table, found.sentence


def residual_order(given: Given) -> Supplement:
    """Residuals of the primary analysis in the order pulled."""
    found = residuals_in_order(_residuals(given))
    return found.table, found.sentence


def residual_shape(given: Given) -> Supplement:
    """Residuals of the primary analysis against normal quantiles."""
    found = normal_plot(_residuals(given))
    return found.table, found.sentence


def _residuals(given: Given) -> pd.DataFrame:
    if given.primary.residuals is None:
        raise ModelError("The primary analysis has no residuals.")
    return given.primary.residuals
