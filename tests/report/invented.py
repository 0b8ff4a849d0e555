"""A whole report of an invented trial, with text in it that tries to break the page."""

from __future__ import annotations

import pandas as pd

from kit.figures import (
    Setting,
    adjusted_means,
    differences,
    fault_rates,
    measure_of,
    shots_in_order,
    spread,
)
from kit.report import (
    Question,
    ReportContent,
    Table,
    figure_part,
    raw_data,
    relabelling_check,
    table_of,
)
from kit.trial import Recipe
from tests.figures import invented

MARK = "Invented example: nobody pulled these shots."
HOSTILE = '</script><img src=x onerror="document.title=1">&amp;{{ 7*7 }}'


def pictures(count: int, table: pd.DataFrame) -> list:
    measure = measure_of("ey_pct")
    setting = Setting(invented.methods(count), mark=MARK)
    recipe = Recipe(dose_g=17.5, beverage_g=36)
    return [
        shots_in_order(table, measure, recipe, setting),
        adjusted_means(invented.means(table), invented.kept(table), measure, setting),
        differences(invented.pairs(table), measure, 0.5, setting),
        spread(invented.spreads(table), invented.residuals(table), measure, setting),
        fault_rates(invented.rates(table), setting),
    ]


def shots(count: int, note: str = "") -> pd.DataFrame:
    table = invented.shots(count)
    return table.assign(note=note).astype({"replaces": "Int64"})


def content(count: int = 4, note: str = "") -> ReportContent:
    table = shots(count, note)
    claims = pd.DataFrame(
        {
            "claim": [f"{name} gives the highest extraction" for name in invented.methods(count)],
            "standing": "the shots are silent",
            "strongest": "It may be the best; so may the others.",
            "needs": "About 40 shots a method for 0.3 points.",
        }
    )
    plan = (
        ("Methods", ", ".join(invented.methods(count)), "as planned"),
        ("Shots a method", "12", "12, 11 of the second"),
        ("Order", "randomised complete blocks, seed 4711", "as drawn"),
        ("Note", note or "none", "none"),
    )
    methods = tuple((name, f"As written for {name}.") for name in invented.methods(count))
    consort = (
        ("8a", "Method used to generate the order", "Planned and done"),
        ("12a", "Statistical methods", "Methods and sources"),
        ("20", "Limitations", "Limits"),
    )
    return ReportContent(
        title=f"Four naps {note}".strip(),
        question="Does the way weighed beans wait before grinding change extraction?",
        verdict=(
            "No method is shown to extract more than another; differences above 0.9 points "
            "are ruled out.",
            "Thaw is less consistent than Cellar: its SD is 2.4 times as large (interval 1.3 to "
            "4.6).",
        ),
        marks=(MARK,),
        seal="Plan and schedule sealed 2026-07-01 09:12 UTC, before the first shot: 7f3a 91c2.",
        claims=table_of(
            claims,
            "Claim sheet",
            {
                "claim": "Somebody may want to say",
                "standing": "The shots say",
                "strongest": "The strongest true sentence",
                "needs": "More would take",
            },
        ),
        figures=[figure_part(one) for one in pictures(count, table)],
        tables=[
            table_of(invented.means(table), "Adjusted means of extraction yield (%)"),
            table_of(invented.pairs(table), "Differences in extraction yield (points)"),
        ],
        compared=Table("The methods compared", ("Method", "How it was prepared"), methods),
        plan=Table("The plan as frozen against what was done", ("Item", "Planned", "Done"), plan),
        deviations=Table(
            "Deviations",
            ("When", "What", "Planned", "Done", "Why"),
            (("2026-07-02 10:31", "Shot 7 replaced", "shot 7", "spare 19", note or "spill"),),
        ),
        limits=("One coffee, one grinder, one machine, one pair of hands.",),
        data=raw_data(table, "four_naps_shots.csv", "Raw shots"),
        check=relabelling_check(table, "ey_pct", "extraction yield", "points", seed=4711),
        questions=(
            Question("Was it randomised?", "Yes: a new order in every block, from a seed."),
            Question("Were the shots enough?", "For 0.75 points, yes; for 0.3, no."),
        ),
        methods=("Randomised complete blocks; linear mixed model; Kenward–Roger.",),
        sources=("Kenward, M. G., & Roger, J. H. (1997). Biometrics 53, 983–997.",),
        consort=Table("Where each item is answered", ("Item", "Topic", "Section"), consort),
        cautions=("Never loosen a portafilter under pressure.",),
        made_with="Made with fairpull 0.1.0.",
    )
