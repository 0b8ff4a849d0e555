"""The findings as HTML for the panel: verdict, grid, pictures, what unfolds. All text escaped."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd
from markupsafe import Markup

from kit.figures import Picture
from kit.findings.claims import CONTRADICTED, SILENT, SUPPORTED, Claim, by_wording
from kit.findings.findings import OutcomeFinding
from kit.findings.whole_trial import WHOLE
from kit.widgets.analyse.model import AnalyseModel
from kit.widgets.images import svg_data_uri
from kit.widgets.tables import html_table, list_items

STANDINGS = {
    SUPPORTED: ("✓", "The shots support"),
    CONTRADICTED: ("✕", "The shots contradict"),
    SILENT: ("·", "The shots are silent on"),
}
"""Sign and heading of the sentences one might say, by what the shots say to them."""
VERDICT_SIGNS = {"different": "≠", "same": "=", "cannot tell": "?"}


def verdict_page(model: AnalyseModel) -> str:
    """The headline, the grid of verdicts, the raw shots in order, and the limits."""
    if model.results is None:
        return ""
    findings = model.results.findings
    parts = [
        Markup('<p class="kit-answer">{}</p>').format(findings.headline),
        Markup(html_table(_signed(model.grid()), "Verdict on each pair and outcome")),
        Markup('<p class="kit-quiet">≠ different   = same for all practical purposes   '
               "? these shots cannot tell</p>"),
        *[_figure(picture) for picture in model.raw_pictures()],
        Markup("<h2>What these shots cannot speak for</h2>"),
        _list((*findings.limits, *findings.set_aside)),
    ]  # fmt: skip
    return str(Markup("").join(parts))


def details_page(model: AnalyseModel) -> str:
    """One part to unfold for each outcome: its sentences, pictures, claims and method."""
    results = model.results  # another thread may settle the analysis while pictures are drawn
    if results is None:
        return ""
    findings = results.findings
    parts = [_whole_trial(model), *(_outcome(model, finding) for finding in findings.outcomes)]
    checks = Markup("").join(_figure(picture) for picture in model.check_pictures())
    said = _list(findings.checks)
    unfold = Markup("<details><summary>Checks on shots and model</summary>{}{}</details>")
    parts.append(unfold.format(said, checks))
    return str(Markup("").join(parts))


def _whole_trial(model: AnalyseModel) -> Markup:
    """Who wins, and whether anybody can taste it."""
    sheet = _claims(model, WHOLE)
    if not sheet:
        return sheet
    unfold = '<details class="kit-outcome"><summary>Who wins, and can it be tasted?</summary>{}'
    return Markup(unfold + "</details>").format(sheet)


def _claims(model: AnalyseModel, about: str) -> Markup:
    """What one might say about an outcome, or the whole trial, by what the shots say to it."""
    told = by_wording(model.claims(about))
    parts = [
        Markup("<h3>{} {}</h3>{}").format(sign, words, _claim_list(same))
        for standing, (sign, words) in STANDINGS.items()
        if (same := [entry for entry in told if entry[1].standing == standing])
    ]
    return Markup("").join(parts)


def _claim_list(told: list[tuple[tuple[str, ...], Claim]]) -> Markup:
    """Each sentence one might say, and below it the strongest wording that the shots bear."""
    entries = []
    for texts, claim in told:
        said = Markup(" ").join(Markup("<b>“{}”</b>").format(text) for text in texts)
        more = Markup(' <span class="kit-quiet">To say more: {}.</span>').format(claim.needs)
        entries.append(
            Markup("<li>{}<br>{}{}</li>").format(
                said, claim.strongest, more if claim.needs else Markup("")
            )
        )
    return Markup('<ul class="kit-list">{}</ul>').format(Markup("").join(entries))


def _outcome(model: AnalyseModel, finding: OutcomeFinding) -> Markup:
    claims = _claims(model, finding.outcome)
    unfold = Markup("<details><summary>What may be said</summary>{}</details>")
    sheet = unfold.format(claims) if claims else claims
    return Markup(
        '<details class="kit-outcome"><summary>{}</summary>{}{}{}'
        "<details><summary>How it was analysed</summary>{}</details></details>"
    ).format(
        finding.headline,
        Markup("").join(_figure(picture) for picture in model.outcome_pictures(finding.outcome)),
        _list(finding.pairs),
        sheet,
        _list(finding.notes),
    )


def _signed(grid: pd.DataFrame) -> pd.DataFrame:
    """Verdicts with a sign in front, so that the grid is read at a glance and without colour."""
    shown = grid.copy()
    for name in shown.columns[1:]:
        shown[name] = [
            f"{VERDICT_SIGNS.get(cell, '')}\N{NO-BREAK SPACE}{cell}".strip() for cell in shown[name]
        ]
    return shown


def _figure(picture: Picture) -> Markup:
    return Markup('<figure class="kit-figure"><img alt="{}" src="{}"></figure>').format(
        picture.alt, svg_data_uri(picture)
    )


def _list(sentences: Iterable[str]) -> Markup:
    entries = list_items(sentences)
    return Markup('<ul class="kit-list">{}</ul>').format(entries)
