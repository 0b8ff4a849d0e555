"""What stands beside the planned outcomes in an honest account: a tidy table and a sentence each.

Nothing here carries a claim. It shows whether the bench held still (reference shots, order,
carry-over), whether the claim rests on the draw as well as on a model (the schedule as the test),
and what tasters could tell.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from itertools import combinations
from typing import Any, TypeVar

import numpy as np
import pandas as pd

from kit.analysis.association import between_groups
from kit.analysis.designed_model import DesignedModel, designed_model, measured
from kit.analysis.discrimination import discrimination_test
from kit.analysis.drift import carry_over, order_effects, reference_chart
from kit.analysis.ordinal import fit_ordinal, ordinal_pairs
from kit.analysis.outcomes.scores import scored_cups
from kit.analysis.randomisation import disagrees, randomisation_test, study_places
from kit.analysis.ranking import ranking_test
from kit.analysis.result import OutcomeResult
from kit.errors import KitError, ModelError
from kit.numerals import say_number, say_p
from kit.schedule import randomisation_scheme
from kit.trial import Outcome, Trial

Supplement = tuple[pd.DataFrame, str]
Part = TypeVar("Part")


@dataclass(frozen=True)
class Given:
    """What supplements are made from."""

    trial: Trial
    shots: pd.DataFrame
    study: pd.DataFrame
    tastings: pd.DataFrame | None
    schedule: pd.DataFrame | None
    results: tuple[OutcomeResult, ...]
    rng: np.random.Generator

    @property
    def primary(self) -> OutcomeResult | None:
        """The primary result, if there is one."""
        return next((item for item in self.results if item.outcome.role == "primary"), None)


def supplements(given: Given) -> tuple[dict[str, pd.DataFrame], dict[str, str]]:
    """Tables and sentences by name; where the shots cannot answer, the sentence says why."""
    tables: dict[str, pd.DataFrame] = {}
    notes: dict[str, str] = {}
    for name, make in _asked(given):
        try:
            tables[name], notes[name] = make(given)
        except KitError as refusal:
            notes[name] = str(refusal)
    return tables, notes


def _asked(given: Given) -> list[tuple[str, Callable[[Given], Supplement]]]:
    """Which supplements apply to this trial."""
    asked: list[tuple[str, Callable[[Given], Supplement]]] = [("reference_chart", _reference)]
    primary = given.primary
    if primary is not None and primary.outcome.aspect == "mean":
        asked += [("order_effects", _order), ("carry_over", _carry)]
        if given.schedule is not None:
            asked.append(("redrawn_schedules", _redrawn))
    if given.tastings is not None and not given.tastings.empty:
        if given.trial.tasting.discrimination:
            asked.append(("discrimination", _discrimination))
        for outcome in given.trial.outcomes:
            if outcome.aspect == "score":
                asked += _taste_supplements(outcome)
    return asked


def _reference(given: Given) -> Supplement:
    chart = reference_chart(given.shots)
    signals = chart.loc[chart["signal"], "shot"].astype(int).tolist()
    said = (
        f"Reference shots outside their limits: {', '.join(map(str, signals))}."
        if signals
        else f"All {len(chart)} reference shots lie within their limits."
    )
    return chart, said


def _order(given: Given) -> Supplement:
    rows, model = _primary_rows(given)
    effects = order_effects(rows, model.response, model.fixed, list(model.random))
    said = " ".join(
        f"{row.effect[:1].upper() + row.effect[1:]} was worth {say_number(row.estimate, 3, True)} "
        f"({say_number(row.lower, 3)} to {say_number(row.upper, 3)}; {say_p(row.p)})."
        for row in _records(effects)
    )
    return effects, said or "The order holds no trend that could be estimated."


def _carry(given: Given) -> Supplement:
    rows, model = _primary_rows(given)
    if "previous_method" in model.fixed:
        return pd.DataFrame(), "The method before is part of the planned model."
    test, pairs = carry_over(rows, model.response, model.fixed, list(model.random))
    p = float(test["p"].iloc[0])
    found = "may leak" if p < 0.05 else "shows no sign of leaking"
    return pairs, f"The method of the shot before {found} into the next ({say_p(p)})."


def _redrawn(given: Given) -> Supplement:
    """The primary pairs judged by drawing the schedule again."""
    rows, model = _primary_rows(given)
    schedule = _needed(given.schedule, "schedule")
    pairs = _pairs_to_redraw(given, rows)
    test = randomisation_test(
        rows,
        study_places(rows, schedule),
        randomisation_scheme(given.trial),
        {f"{a} − {b}": {a: 1.0, b: -1.0} for a, b in pairs},
        given.rng,
        measure=model.response,
        random=model.random,
    )
    table = test.contrasts
    table.insert(0, "a", [a for a, _ in pairs])
    table.insert(1, "b", [b for _, b in pairs])
    primary = given.primary
    model_p = {} if primary is None else _model_p(primary)
    table["p_model"] = [model_p.get((a, b), np.nan) for a, b in pairs]
    moved = [
        row.contrast
        for row in _records(table)
        if np.isfinite(row.p_model) and disagrees(row.p_model, row.p_low, row.p_high)
    ]
    return table, _redrawn_words(test.draws, test.exhaustive, test.p, moved)


def _redrawn_words(draws: int, exhaustive: bool, p: float, moved: list[str]) -> str:
    how = f"all {draws} schedules of the set" if exhaustive else f"{draws} schedules drawn again"
    said = f"By {how}, no difference at all between methods: {say_p(p)}."
    if moved:
        said += (
            f" For {', '.join(moved)} this disagrees with the model by more than chance; trust the "
            "draw, and say so."
        )
    else:
        said += " No pair disagrees with the model by more than chance."
    return said


def _discrimination(given: Given) -> Supplement:
    tasting, tastings = given.trial.tasting, _needed(given.tastings, "tasting")
    sets = tastings[tastings["attribute"].str.startswith(tasting.discrimination)]
    correct, n = int(sets["score"].sum()), len(sets)
    found = discrimination_test(correct, n, tasting.discrimination)
    pair = " and ".join(tasting.pair or ())
    reading = "can be told apart" if found.p_difference < 0.05 else "were not told apart"
    said = (
        f"{tasting.discrimination.capitalize()}: {correct} of {n} right "
        f"({say_p(found.p_difference)}); {pair} {reading} here. Between "
        f"{100 * found.discriminators_lower:.0f} and {100 * found.discriminators_upper:.0f} % of "
        "assessments may truly tell them apart, so “nobody can taste it” is "
        f"{'ruled out' if found.p_difference < 0.05 else 'not shown'}."
    )
    return pd.DataFrame([asdict(found)]), said


def _taste_supplements(outcome: Outcome) -> list[tuple[str, Callable[[Given], Supplement]]]:
    name = outcome.measure

    def ranks(given: Given) -> Supplement:
        cups = scored_cups(given.trial, name, given.tastings)
        found = ranking_test(cups)
        said = (
            f"{name.capitalize()} by ranks (Friedman): {say_p(found.p)} over {found.tasters} "
            "tasters who scored every method."
        )
        return found.pairs, said

    def ordinal(given: Given) -> Supplement:
        cups = scored_cups(given.trial, name, given.tastings)
        pairs = ordinal_pairs(fit_ordinal(cups))
        return pairs, _agreement_words(given, outcome, pairs)

    def against_extraction(given: Given) -> Supplement:
        cups = scored_cups(given.trial, name, given.tastings)
        means = pd.DataFrame(
            {
                "ey_pct": given.study.groupby("method", observed=True)["ey_pct"].mean(),
                "score": cups.groupby("method", observed=True)["score"].mean(),
            }
        ).reset_index(names="method")
        found = between_groups(means, "ey_pct", "score")
        said = (
            f"Between methods, {name} goes with extraction by r = {say_number(found.r, 2)} "
            f"({say_number(found.lower, 2)} to {say_number(found.upper, 2)}; {found.n} methods). "
            "That says nothing about shots of one method."
        )
        return means, said

    return [
        (f"{name}_ranks", ranks),
        (f"{name}_ordinal", ordinal),
        (f"{name}_against_extraction", against_extraction),
    ]


def _agreement_words(given: Given, outcome: Outcome, pairs: pd.DataFrame) -> str:
    """Whether the ordered-category model points the same way as the score model."""
    scores = next((item for item in given.results if item.outcome == outcome), None)
    if scores is None:
        return "The ordered-category model stands alone: the score model could not be fitted."
    signs = {(row["a"], row["b"]): row["estimate"] > 0 for row in scores.difference_rows()}
    shown = pairs[(pairs["lower"] > 0) | (pairs["upper"] < 0)]
    against = [
        f"{row.a} and {row.b}"
        for row in _records(shown)
        if (row.a, row.b) in signs and signs[row.a, row.b] != (row.estimate > 0)
    ]
    name = outcome.measure
    if against:
        return f"For {', '.join(against)} {name} as ordered categories points the other way."
    return f"Taken as ordered categories, scores of {name} point the same way in every shown pair."


def _primary_rows(given: Given) -> tuple[pd.DataFrame, DesignedModel]:
    primary = _needed(given.primary, "primary outcome")
    rows, _ = measured(given.study, primary.outcome.measure)
    return rows, designed_model(given.trial, rows, primary.outcome.measure)


def _records(table: pd.DataFrame) -> Iterator[Any]:
    """The rows of a table as named tuples."""
    yield from table.itertuples(index=False)


def _needed(part: Part | None, what: str) -> Part:
    """The part, which :func:`_asked` has looked for before."""
    if part is None:
        raise ModelError(f"There is no {what}.")
    return part


def _pairs_to_redraw(given: Given, rows: pd.DataFrame) -> list[tuple[str, str]]:
    present = [str(name) for name in rows["method"].cat.categories]
    primary = given.primary
    control = given.trial.control
    if primary is not None and primary.outcome.family == "against control" and control in present:
        return [(name, control) for name in present if name != control]
    return list(combinations(present, 2))


def _model_p(primary: OutcomeResult) -> dict[tuple[str, str], float]:
    """Unadjusted, as the limits of the redrawn p are for one contrast at a time."""
    return {(row["a"], row["b"]): float(row["p"]) for row in primary.difference_rows()}
