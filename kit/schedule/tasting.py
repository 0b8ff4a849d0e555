"""Who tastes which cup in which order: blind codes, hidden duplicates, sets to tell apart."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from kit.design.panel import orders_of_test, sitting_orders
from kit.errors import DataError, PlanError
from kit.files import read_text, write_atomically
from kit.schedule.codes import draw_codes
from kit.schedule.draw import generator
from kit.schedule.files import read_schedule, refuse_if_sealed, schedule_text
from kit.schedule.freeze import read_freeze
from kit.trial import Trial, read_trial

ORDERS_FILE = "tasting_orders.csv"
SETS_FILE = "tasting_sets.csv"
ORDER_COLUMNS = ["taster", "sitting", "cup_position", "code", "method", "duplicate"]
SET_COLUMNS = ["taster", "set", "cup_position", "code", "method", "part", "answer"]

_ORDERS_STREAM, _SETS_STREAM = 1, 2  # apart from the schedule's stream, from the same seed


def tasting_orders(trial: Trial, seed: int, taken: Sequence[str] = ()) -> pd.DataFrame:
    """The order of cups of every taster in every sitting.

    Parameters
    ----------
    taken
        Codes in use already (those of the schedule), which no cup gets again.

    Returns
    -------
    DataFrame
        ``taster, sitting, cup_position, code, method, duplicate`` (“yes” for the second cup of a
        method in a sitting). Each cup of each taster has a code of its own.

    Raises
    ------
    PlanError
        If nobody tastes, a shot does not serve all tasters, or the cups do not suffice.
    """
    _check_panel(trial)
    tasting = trial.tasting
    rng = generator(seed, _ORDERS_STREAM)
    numbers = range(1, tasting.sittings + 1)
    sittings = [(taster, f"Sitting {n}") for taster in tasting.tasters for n in numbers]
    orders = sitting_orders(rng, len(trial.methods), tasting.cups_per_sitting, len(sittings))
    codes = draw_codes(rng, [orders.shape[1]] * len(sittings), taken)
    rows = []
    for (taster, sitting), order, cups in zip(sittings, orders.tolist(), codes, strict=True):
        for place, (method, code) in enumerate(zip(order, cups, strict=True), start=1):
            twin = "yes" if method in order[: place - 1] else ""
            rows.append((taster, sitting, place, code, trial.method_names[method], twin))
    return pd.DataFrame(rows, columns=ORDER_COLUMNS)


def discrimination_sets(trial: Trial, seed: int, taken: Sequence[str] = ()) -> pd.DataFrame:
    """The cups of every triangle, duo-trio or paired set.

    Returns
    -------
    DataFrame
        ``taster, set, cup_position, code, method, part, answer``. ``part`` is “reference” (named
        as such, without a code) or “sample”; ``answer`` is “yes” for the cup that is right to
        name: the odd one of a triangle, the one like the reference of a duo-trio. A paired set
        has no right answer of its own.

    Raises
    ------
    PlanError
        If the trial has no such test, or nobody to take it.
    """
    tasting = trial.tasting
    if not tasting.discrimination or tasting.pair is None or not tasting.sets_per_taster:
        raise PlanError(
            "No test to tell two methods apart is planned. Set tasting.discrimination, "
            "tasting.pair and tasting.sets_per_taster."
        )
    _check_panel(trial)
    rng = generator(seed, _SETS_STREAM)
    orders = orders_of_test(
        rng, tasting.discrimination, len(tasting.tasters), tasting.sets_per_taster
    )
    cups = [len(order) for row in orders for order in row]
    codes = iter(draw_codes(rng, cups, taken))
    methods = dict(zip("AB", tasting.pair, strict=True))
    rows = []
    for taster, row in zip(tasting.tasters, orders, strict=True):
        for number, order in enumerate(row, start=1):
            for place, (cup, code) in enumerate(zip(order, next(codes), strict=True), start=1):
                part, answer = _part(tasting.discrimination, order, place - 1)
                shown = "" if part == "reference" else code
                rows.append((taster, number, place, shown, methods[cup], part, answer))
    return pd.DataFrame(rows, columns=SET_COLUMNS)


def name_of_test(test: str, pair: Sequence[str]) -> str:
    """What a test is called among the attributes that were tasted: ``duo-trio Glen/Aln``."""
    return f"{test} {'/'.join(pair)}"


def _part(test: str, order: str, place: int) -> tuple[str, str]:
    """Whether a cup is the reference or a sample, and whether it is the right one to name."""
    if test == "duo-trio":
        if place == 0:
            return "reference", ""
        return "sample", "yes" if order[place] == order[0] else ""
    odd = test == "triangle" and order.count(order[place]) == 1
    return "sample", "yes" if odd else ""


def _check_panel(trial: Trial) -> None:
    tasters, portions = len(trial.tasting.tasters), trial.tasting.portions_per_shot
    if not tasters:
        raise PlanError("Nobody tastes in this trial. List the tasters' codes (tasting.tasters).")
    if tasters > portions:
        groups = -(-tasters // portions)
        raise PlanError(
            f"There are more tasters than cups: {tasters} tasters, and a shot serves {portions} "
            f"(tasting.portions_per_shot). The nearest possible: {portions} tasters, or "
            f"{groups} groups, each with shots of its own, planned as {groups} trials."
        )


def write_tasting(folder: Path, seed: int) -> list[Path]:
    """Draw and write the cups of the panel and of the sets, with codes no shot has.

    Raises
    ------
    PlanError
        If the plan is sealed, or cups and tasters cannot be had as planned.
    """
    refuse_if_sealed(folder)
    return _write(folder, seed)


def draw_missing_tasting(folder: Path) -> list[Path]:
    """Draw and write cups and sets that were not written before sealing, from the sealed seed.

    They follow from the seed and the sealed schedule alone, so drawing them late changes nothing.
    """
    return _write(folder, read_freeze(folder).seed)


def read_tasting(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The drawn cups and sets of the panel (``ORDER_COLUMNS``, ``SET_COLUMNS``), all as text.

    Raises
    ------
    DataError
        If a file lacks a column.
    """
    sets = folder / SETS_FILE
    orders = _read(folder / ORDERS_FILE, ORDER_COLUMNS)
    return orders, (
        _read(sets, SET_COLUMNS) if sets.exists() else pd.DataFrame(columns=SET_COLUMNS)
    )


def _read(path: Path, columns: list[str]) -> pd.DataFrame:
    table = pd.read_csv(io.StringIO(read_text(path)), dtype=str, keep_default_na=False)
    missing = [name for name in columns if name not in table]
    if missing:
        raise DataError(
            f"{path.name} lacks the column “{missing[0]}”. Remove the file: it is drawn again from "
            "the recorded seed."
        )
    return table[columns]


def _write(folder: Path, seed: int) -> list[Path]:
    trial = read_trial(folder)
    taken = read_schedule(folder)["code"].tolist()
    orders = tasting_orders(trial, seed, taken)
    written = [write_atomically(folder / ORDERS_FILE, schedule_text(orders))]
    if trial.tasting.discrimination and trial.tasting.sets_per_taster:
        sets = discrimination_sets(trial, seed, [*taken, *orders["code"]])
        written.append(write_atomically(folder / SETS_FILE, schedule_text(sets)))
    return written
