"""Where the report answers each applicable item of CONSORT 2010, adapted: the unit is the shot.

Source of the items: Schulz KF, Altman DG, Moher D (2010) CONSORT 2010 statement, BMJ 340:c332.
The numbers are theirs; the words are ours.
"""

from __future__ import annotations

from kit.report import Table
from kit.results.compute import Results


def consort_items(results: Results, sealed: bool) -> Table:
    """One row an item: its number, what it asks, and where (or why not) it is answered."""
    tasted = bool(results.trial.tasting.tasters)
    rows = (
        ("1", "Named as a randomised trial; summary", _if(results.record.randomised, "The answer",
              "not randomised: see Limits")),
        ("2", "Background and question", "the question under the title"),
        ("3a", "Design and allocation ratio", "Planned and done; Methods"),
        ("3b", "Changes after the start", "Planned and done: deviations"),
        ("4a", "What may enter: coffee, dose, tolerances", "Planned and done; Limits"),
        ("4b", "Setting", "Limits: one kitchen"),
        ("5", "The methods, so that they can be repeated", "Planned and done: methods"),
        ("6a", "Outcomes and how they were taken", "Planned and done; Methods"),
        ("6b", "Changes to outcomes", "Planned and done: deviations"),
        ("7a", "How many shots and why", "Planned and done; Questions: were the shots enough"),
        ("7b", "Interim looks and stopping", "Planned and done"),
        ("8a", "How the order was generated", "Methods: seed and stated set"),
        ("8b", "Kind of restriction (blocks)", "Methods"),
        ("9", "Concealment of the order", _if(sealed, "sealed order; the operator sees the next "
              "shot only when it is due", "not sealed")),
        ("10", "Who did what", "Questions: were you blind"),
        ("11a", "Blinding", "Questions: were you blind; Limits"),
        ("12a", "Statistical methods", "Methods; notes under Numbers"),
        ("12b", "Further analyses", "Numbers: checks beside the planned outcomes"),
        ("13a", "Shots drawn, pulled, analysed", "Planned and done"),
        ("13b", "Losses and exclusions with reasons", "Planned and done; Limits"),
        ("14a", "Dates", "Planned and done: sessions; raw data: pulled_at"),
        ("15", "State at the start", _reference(results)),
        ("16", "Numbers analysed", "Numbers: n of each method"),
        ("17a", "Estimates with intervals", "Numbers"),
        ("17b", "Rates also in absolute terms", _rates(results)),
        ("18", "Further results, marked as such", "The answer; What may be said"),
        ("19", "Harms", _if(tasted, "Safety: caffeine and tasting load", "Safety")),
        ("20", "Limitations", "Limits"),
        ("21", "Generality", "Limits: one coffee, grinder, machine, pair of hands"),
        ("22", "Interpretation", "What may be said"),
        ("23", "Registration", _if(sealed, "the seal under the answer", "not sealed")),
        ("24", "Where the plan can be read", "trial.toml and schedule.csv in the bundle"),
        ("25", "Funding and interests", "not recorded here; to be stated beside this page"),
    )  # fmt: skip
    return Table(
        "CONSORT 2010 items, adapted: the unit is the shot", ("Item", "Asks", "Answered in"), rows
    )


def _reference(results: Results) -> str:
    charted = "reference_chart" in results.analysis.extras
    return _if(charted, "Figures: reference shots", "no reference shots were pulled")


def _rates(results: Results) -> str:
    counted = any(one.outcome.aspect == "rate" for one in results.analysis.results)
    return _if(counted, "Numbers: flow faults", "no rate was an outcome")


def _if(condition: bool, yes: str, no: str) -> str:
    return yes if condition else no
