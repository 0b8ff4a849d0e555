"""One sheet for each person, showing only what that person may know.

The operator knows the method, because nobody can prepare a puck without knowing how. The measurer
and the scorer of faults get codes alone, in an order that says nothing; a taster gets the codes of
their own cups and no one else's.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from kit.codebook import column
from kit.errors import PlanError
from kit.trial import Trial


@dataclass(frozen=True)
class Sheet:
    """A sheet to print: what it shows, what is to be filled in, and where pages break."""

    title: str
    notes: tuple[str, ...]
    pages: tuple[tuple[str, pd.DataFrame], ...]
    """Heading and table of each page; column titles are those printed."""
    blanks: tuple[str, ...]
    """Titles of the empty columns to write in."""


def operator_sheet(trial: Trial, schedule: pd.DataFrame) -> Sheet:
    """What to prepare, in run order, with the code to put on the cup."""
    recipe = trial.recipe
    notes = (
        f"Dose {recipe.dose_g:g} ± {recipe.dose_tolerance_g:g} g, beverage {recipe.beverage_g:g} "
        f"± {recipe.beverage_tolerance_g:g} g. Put the code on the cup; say no method aloud.",
        f"A shot is pulled again only for: {', '.join(trial.rules.replace_for)}. Use a spare at "
        "the end of the same block, and keep both records.",
    )
    pages = []
    hard = [factor.name for factor in trial.hard_factors]
    for session, rows in schedule.groupby("session", sort=False):
        shown = pd.DataFrame(
            {
                "No.": rows["planned_shot"].astype(str),
                # The heading names the session already.
                column("block").label: rows["block"]
                .str.removeprefix(f"{session}-")
                .where(rows["block"] != "", rows["role"]),
                column("method").label: rows["method"],
                **{name: rows[name] for name in hard},
                column("code").label: rows["code"],
            }
        )
        pages.append((f"Session {session}", shown))
    filled = ("dose_g", "beverage_g", "first_drip_s", "shot_time_s")
    labels = tuple(f"{column(name).label} ({column(name).unit})" for name in filled)
    return Sheet(f"{trial.title}: bench", notes, tuple(pages), (*labels, column("note").label))


def recipe_sheet(trial: Trial) -> Sheet:
    """Every method as written, for the wall beside the machine."""
    table = pd.DataFrame(
        {
            column("method").label: trial.method_names,
            "Recipe": [method.recipe for method in trial.methods],
        }
    )
    return Sheet(f"{trial.title}: recipes", (), (("Methods", table),), ())


def measurer_sheet(trial: Trial, schedule: pd.DataFrame) -> Sheet:
    """Codes of the cups of each session in rising order, which tells nothing about methods."""
    notes = ("Read each cup by its code. Ask nobody which method it was.",)
    pages = tuple(
        (f"Session {session}", pd.DataFrame({column("code").label: sorted(rows["code"])}))
        for session, rows in _measured(schedule).groupby("session", sort=False)
    )
    blanks = ("TDS 1 (%)", "TDS 2 (%)", "TDS 3 (%)", column("note").label)
    return Sheet(f"{trial.title}: readings", notes, pages, blanks)


def fault_scorer_sheet(trial: Trial, schedule: pd.DataFrame) -> Sheet:
    """Codes of all clips in rising order, over every session at once."""
    notes = (trial.rules.fault_definition, "Clips are named by code. Score them in this order.")
    table = pd.DataFrame({column("code").label: sorted(_measured(schedule)["code"])})
    blanks = (column("faults").label, column("note").label)
    return Sheet(f"{trial.title}: flow faults", notes, (("All clips", table),), blanks)


def _measured(schedule: pd.DataFrame) -> pd.DataFrame:
    """The cups that are measured; a spare is listed because it may have to stand in."""
    return schedule[schedule["role"].isin(["reference", "study", "spare"])]


def taster_sheet(trial: Trial, orders: pd.DataFrame, taster: str) -> Sheet:
    """The cups of one taster, by place and code."""
    own = _of_taster(orders, taster)
    notes = (
        "Taste from left to right, rinse between cups, wait until a cup is cool enough to hold.",
        *(("Spit every sip.",) if trial.tasting.spit else ()),
    )
    pages = tuple((str(name), _cups(rows)) for name, rows in own.groupby("sitting", sort=False))
    blanks = tuple(f"{a.name} ({a.low:g} to {a.high:g})" for a in trial.tasting.attributes)
    return Sheet(f"{trial.title}: taster {taster}", notes, pages, (*blanks, column("note").label))


def discrimination_sheet(trial: Trial, sets: pd.DataFrame, taster: str) -> Sheet:
    """The sets of one taster, by place and code; a reference is named as such."""
    tasks = {
        "triangle": "Two cups of each set are alike. Write the code of the odd one, even if you "
        "have to guess.",
        "duo-trio": "One of the two coded cups is like the reference. Write its code, even if you "
        "have to guess.",
        "paired": "Write the code of the cup that has more of what is asked, even if you have to "
        "guess.",
    }
    own = _of_taster(sets, taster)
    shown = own.assign(code=own["code"].where(own["part"] != "reference", "reference"))
    table = pd.DataFrame(
        [
            {"Set": str(number), "Cups, from left to right": "\u2003".join(rows["code"])}
            for number, rows in shown.groupby("set", sort=False)
        ]
    )
    notes = (tasks[trial.tasting.discrimination],)
    title = f"{trial.title}: {trial.tasting.discrimination}, taster {taster}"
    return Sheet(title, notes, (("Sets", table),), ("Code chosen", column("note").label))


def _of_taster(table: pd.DataFrame, taster: str) -> pd.DataFrame:
    own = table[table["taster"] == taster]
    if own.empty:
        known = ", ".join(dict.fromkeys(table["taster"]))
        raise PlanError(f"No cup is planned for the taster “{taster}”. The tasters are {known}.")
    return own


def _cups(rows: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            column("cup_position").label: rows["cup_position"].astype(str),
            column("code").label: rows["code"],
        }
    )


def blinding_words(trial: Trial) -> list[str]:
    """Who knew what, as it will stand in the report: never more blind than it was."""
    blind = trial.blinding
    people = {
        "The person who read the cups": blind.measurer,
        "The person who scored flow faults": blind.fault_scorer,
        "The tasters": blind.taster if trial.tasting.tasters else None,
        "The analyst": blind.analyst,
    }
    found = [
        "The operator knew the method of every shot: nobody can be blind to what they prepare. "
        "Whatever a person’s hands do differently for a method they believe in is part of the "
        "result."
    ]
    for who, hidden in people.items():
        if hidden is not None:
            verb = "did not know" if hidden else "knew, or could know,"
            found.append(f"{who} {verb} which method a cup came from.")
    return found
