"""Draw the schedule: the frame, filled by one uniform draw from the scheme, with blind codes."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd

from kit import codebook
from kit.errors import PlanError
from kit.schedule.codes import draw_codes
from kit.schedule.frame import Place, Shape, numbered, places, shape_of
from kit.schedule.randomisation import randomisation_scheme
from kit.trial import Trial

BIT_GENERATOR = "PCG64"


def generator(seed: int, stream: int = 0) -> np.random.Generator:
    """A stream of random numbers, the same on every machine: 0 draws the schedule, others what
    is drawn beside it from the same seed.

    Raises
    ------
    PlanError
        If the seed is negative or no whole number.
    """
    if isinstance(seed, bool) or not isinstance(seed, (int, np.integer)) or seed < 0:
        raise PlanError(f"A seed is a whole number from 0 up, not {seed!r}. Give one, e.g. 1234.")
    return np.random.Generator(np.random.PCG64([int(seed), stream]))


def draw_schedule(trial: Trial, seed: int) -> pd.DataFrame:
    """The schedule of a trial: one row a planned pull, in run order.

    Returns
    -------
    DataFrame
        Columns of ``codebook.SCHEDULE``, then one for each factor. Warm-up, dial-in and
        reference shots are of the reference method; a spare has no method and no block.

    Raises
    ------
    PlanError
        If the layout cannot be had (the message names the nearest possible design).
    """
    rng = generator(seed)
    scheme = randomisation_scheme(trial)
    pulls = places(trial)
    methods = iter(scheme.draw(rng))
    settings = scheme.draw_whole_plots(rng)
    cups = list(Counter(place.session for place in pulls).values())
    codes = [code for table in draw_codes(rng, cups) for code in table]
    shape = shape_of(trial)
    rows = []
    for number, (place, code) in enumerate(zip(pulls, codes, strict=True), start=1):
        method = _method(trial, place, methods)
        row = {**_place_columns(shape, place), "method": method, "code": code}
        rows.append({"planned_shot": number, **row, **_factors(trial, place, method, settings)})
    return as_schedule(pd.DataFrame(rows))


def _method(trial: Trial, place: Place, methods: object) -> str:
    if place.role == "study":
        return str(next(methods))  # type: ignore[call-overload]
    return "" if place.role == "spare" else trial.reference_method


def _place_columns(shape: Shape, place: Place) -> dict[str, object]:
    """The labels of session, bag, whole plot and block; blocks are named within what holds them."""
    session = numbered("S", place.session + 1, shape.sessions)
    plot, block = "", ""
    if place.whole_plot is not None:
        number = place.whole_plot % shape.whole_plots_per_session + 1
        plot = f"{session}-{numbered('W', number, shape.whole_plots_per_session)}"
    if place.block is not None:
        per_holder = shape.blocks_per_session
        if plot:
            per_holder //= shape.whole_plots_per_session
        number = place.block % per_holder + 1
        block = f"{plot or session}-{numbered('B', number, per_holder)}"
    return {
        "session": session,
        "bag": place.bag,
        "whole_plot": plot,
        "block": block,
        "position": place.position,
        "session_position": place.session_position,
        "role": place.role,
    }


def _factors(
    trial: Trial, place: Place, method: str, settings: list[tuple[str, ...]]
) -> dict[str, str]:
    """The level of every factor at one pull; a spare has none until it is used."""
    if not trial.factors:
        return {}
    if place.role == "spare":
        return {factor.name: "" for factor in trial.factors}
    easy = next(entry.settings for entry in trial.methods if entry.name == method)
    hard = dict(
        zip(
            (factor.name for factor in trial.hard_factors),
            settings[place.whole_plot] if place.whole_plot is not None else (),
            strict=True,
        )
    )
    return {factor.name: {**easy, **hard}[factor.name] for factor in trial.factors}


def as_schedule(table: pd.DataFrame) -> pd.DataFrame:
    """The columns in codebook order, whole numbers as such, everything else as text."""
    known = codebook.names(codebook.SCHEDULE)
    ordered = table[known + [name for name in table if name not in known]].copy()
    for column in ordered:
        whole = column in known and codebook.column(str(column)).kind == "integer"
        ordered[column] = ordered[column].astype("Int64" if whole else "str")
    return ordered
