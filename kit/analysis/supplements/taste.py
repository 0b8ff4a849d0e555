"""Second looks at taste, what tasters could tell, and taste against extraction."""

from __future__ import annotations

from dataclasses import asdict

import pandas as pd

from kit.analysis.association import Association, between_groups, within_groups
from kit.analysis.discrimination import DiscriminationResult
from kit.analysis.outcomes.scores import scored_cups, taste_errors
from kit.analysis.supplements.given import Given, Maker, Supplement
from kit.analysis.taste import discoveries, discrimination_results, second_look
from kit.errors import KitError, ModelError
from kit.numerals import say_number, say_p
from kit.trial import Outcome


def tastings_of(given: Given) -> pd.DataFrame:
    """The tastings.

    Raises
    ------
    ModelError
        If nothing was tasted.
    """
    if given.tastings is None or given.tastings.empty:
        raise ModelError("Nothing was tasted.")
    return given.tastings


def told_apart(given: Given) -> Supplement:
    """Every triangle, duo-trio or paired test, read for a difference and for similarity."""
    found = discrimination_results(tastings_of(given))
    if not found:
        raise ModelError("The planned taste test was not made.")
    table = pd.DataFrame([{"attribute": name} | asdict(test) for name, test in found.items()])
    return table, " ".join(_told_words(name, test) for name, test in found.items())


def _told_words(name: str, found: DiscriminationResult) -> str:
    told = found.p_difference < 0.05
    return (
        f"{name}: {found.correct} of {found.n} right ({say_p(found.p_difference)}), "
        f"{'told apart' if told else 'not told apart'} here. {found.limits_in_words()} of tastings "
        "tell the cups apart, so “nobody can taste it” is "
        f"{'ruled out' if told else 'not shown'}."
    )


def second_looks(outcome: Outcome) -> Maker:
    """A maker: the ordinal model and the ranks beside the score model of one attribute."""

    def make(given: Given) -> Supplement:
        scores = next(item for item in given.results if item.outcome == outcome)
        cups = scored_cups(given.trial, outcome.measure, given.tastings)
        found = second_look(cups, scores.differences)
        said = [found.sentence, *found.not_possible.values()]
        if "tasted_shot" in taste_errors(cups):
            said.append(
                "Tasters shared shots; the ordinal model and the ranks take every cup for a shot "
                "of its own, so they find differences too easily here."
            )
        return found.table, f"{outcome.measure[:1].upper()}{outcome.measure[1:]}: {' '.join(said)}"

    return make


def against_extraction(outcome: Outcome) -> Maker:
    """A maker: score against extraction, between methods and, where cups name shots, within."""

    def make(given: Given) -> Supplement:
        cups = scored_cups(given.trial, outcome.measure, given.tastings)
        means = pd.DataFrame(
            {
                "ey_pct": given.study.groupby("method", observed=True)["ey_pct"].mean(),
                "score": cups.groupby("method", observed=True)["score"].mean(),
            }
        ).reset_index(names="method")
        name = outcome.measure
        between = between_groups(means, "ey_pct", "score")
        said = f"Between methods, {name} goes with extraction by {_in_words(between, 'methods')}."
        return means, f"{said} {_within_words(given, cups)}"

    return make


def _within_words(given: Given, cups: pd.DataFrame) -> str:
    """Shots of one method among each other: the mean score of a shot against its extraction."""
    if cups["shot"].isna().all():
        return "That says nothing about shots of one method."
    scores = cups.groupby("shot", as_index=False)["score"].mean()
    shots = given.study[["shot", "method", "ey_pct"]].merge(scores, on="shot")
    try:
        within = within_groups(shots, "ey_pct", "score")
    except KitError as refusal:
        return str(refusal)
    return f"Among shots of one method, by {_in_words(within, 'shots')}."


def _in_words(found: Association, unit: str) -> str:
    return (
        f"r = {say_number(found.r, 2)} ({say_number(found.lower, 2)} to "
        f"{say_number(found.upper, 2)}; {found.n} {unit})"
    )


def exploratory_finds(given: Given) -> Supplement:
    """The tests of all exploratory outcomes together, by their false-discovery rate."""
    p_values = {
        item.outcome.name: float(item.tests["p"].iloc[0])
        for item in given.results
        if item.outcome.role == "exploratory" and not item.tests.empty
    }
    found = discoveries(p_values)
    stands = found.loc[found["stands"], "name"].tolist()
    said = (
        f"Exploratory outcomes that stand at a false-discovery rate of 5 %: {', '.join(stands)}. "
        "They are leads for a new trial, not claims."
        if stands
        else "No exploratory outcome stands at a false-discovery rate of 5 %."
    )
    return found, said
