"""The report of a completed trial: every part of the page filled from its results."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import kit
from kit.analysis.result import OutcomeResult
from kit.cautions import ALWAYS, SESSION_START, TASTING_START
from kit.errors import DataError
from kit.figures import Picture, measure_of
from kit.files import write_atomically
from kit.findings.claims import SILENT, by_wording
from kit.findings.whole_trial import WHOLE
from kit.findings.wording import outcome_label, scale_of, sentence_case
from kit.report import (
    RelabellingCheck,
    ReportContent,
    Table,
    figure_part,
    raw_data,
    relabelling_check,
    render_report,
    table_of,
)
from kit.results.compute import Results
from kit.results.planned import deviations_table, methods_compared, planned_and_done
from kit.results.reporting_items import consort_items
from kit.results.sources import works_cited
from kit.results.viewers import viewers_questions
from kit.results.write import REPORT_FILE, RESULTS_FOLDER
from kit.schedule import FREEZE_FILE, randomisation_scheme, read_freeze

HEADINGS = {
    "lower": "from",
    "upper": "to",
    "p_adjusted": "p, adjusted",
    "a": "first",
    "b": "second",
}
BALANCE = "balance"
"""The picture that belongs to the methods, not among the results."""
FREE_WITHIN_BLOCKS = {"complete blocks", "split-plot"}
IN_WORDS = {
    "carry-over balanced": "blocks balanced for carry-over",
    "latin square": "a Latin square",
    "split-plot": "a split-plot design",
}
"""Designs that need other words inside a sentence."""


def write_report(results: Results, pictures: list[Picture], folder: Path) -> Path:
    """Write ``results/report.html`` and return its path."""
    page = render_report(report_content(results, pictures, folder))
    return write_atomically(folder / RESULTS_FOLDER / REPORT_FILE, page)


def report_content(results: Results, pictures: list[Picture], folder: Path) -> ReportContent:
    """Every part of the page. The folder is asked for the seal alone."""
    trial, findings = results.trial, results.findings
    sealed = (folder / FREEZE_FILE).exists()
    methods = methods_paragraphs(results, folder)
    return ReportContent(
        title=trial.title,
        question=trial.question,
        verdict=(findings.headline, *_further_answers(results)),
        marks=("An invented example: nobody pulled these shots.",) if trial.invented else (),
        seal=_seal(folder),
        claims=_claims(results),
        figures=[figure_part(picture) for picture in pictures if picture.name != BALANCE],
        tables=[*_tables(results), *_supplement_tables(results)],
        compared=methods_compared(results),
        plan=planned_and_done(results, sealed),
        deviations=deviations_table(results.deviations),
        limits=(*findings.limits, *findings.set_aside),
        data=raw_data(results.shots, "shots.csv", "Every shot, in the order pulled"),
        check=_check(results),
        questions=viewers_questions(results),
        methods=methods,
        method_figures=[figure_part(picture) for picture in pictures if picture.name == BALANCE],
        sources=works_cited([*methods, *results.analysis.extra_notes.values()]),
        consort=consort_items(results, sealed),
        cautions=_cautions(results),
        made_with=f"Made with fairpull {kit.__version__}. Nothing here is loaded from elsewhere.",
    )


def _further_answers(results: Results) -> list[str]:
    """The headlines of outcomes that the main headline does not speak of."""
    headline = results.findings.headline
    return [
        outcome.headline
        for outcome in results.findings.outcomes
        if outcome.headline.removeprefix("Secondary: ") not in headline
    ]


def _seal(folder: Path) -> str:
    if not (folder / FREEZE_FILE).exists():
        return ""
    sealed = read_freeze(folder)
    at = datetime.fromisoformat(sealed.at)
    offset = at.strftime("%z")
    moment = f"{at:%Y-%m-%d at %H:%M} (UTC{offset[:3]}:{offset[3:]})"
    return f"Plan and order were sealed on {moment}. Seal: {sealed.short}"


def _claims(results: Results) -> Table:
    """All claims about the trial and its primary outcome; of others those the shots speak on."""
    labels = {outcome.name: outcome_label(outcome) for outcome in results.trial.outcomes}
    labels[WHOLE] = sentence_case(WHOLE)
    rows = [
        (
            " ".join(f"“{text}”" for text in texts),
            labels[claim.outcome],
            claim.standing,
            claim.strongest,
            claim.needs,
        )
        for texts, claim in by_wording(results.findings.claims)
        if claim.standing != SILENT or claim.role in ("primary", "taste")
    ]
    return Table(
        "Sentences somebody may want to say, and whether the shots support them",
        ("One might say", "About", "The shots", "The strongest wording they bear", "To say more"),
        tuple(rows),
        note=(
            "On every other sentence about the other outcomes the shots are silent. The primary "
            "outcome alone carries the claim of this trial."
        ),
    )


def _tables(results: Results) -> list[Table]:
    return [table for result in results.analysis.results for table in _outcome_tables(result)]


def _supplement_tables(results: Results) -> list[Table]:
    """Checks beside the planned outcomes; none of them carries a claim."""
    analysis = results.analysis
    tables = [
        Table(
            "Checks beside the planned outcomes",
            ("Check", "What it says"),
            tuple(
                (name.replace("_", " "), sentence)
                for name, sentence in analysis.extra_notes.items()
            ),
        )
    ]
    redrawn = analysis.extras.get("redrawn_schedules")
    if redrawn is not None:
        shown = redrawn[["contrast", "estimate", "p", "p_adjusted", "p_model"]]
        headings = {"p_adjusted": "p, adjusted", "p_model": "p of the model"}
        caption = "The schedule as the test: p values that rest on the draw alone"
        tables.append(table_of(shown, caption, headings, {"estimate": 2} | dict.fromkeys(
            ("p", "p_adjusted", "p_model"), 4)))  # fmt: skip
    return tables


def _outcome_tables(result: OutcomeResult) -> tuple[Table, Table]:
    """Where each method stands, and every comparison."""
    is_ratio, label = scale_of(result.outcome).is_ratio, outcome_label(result.outcome)
    places = 3 if result.outcome.aspect == "rate" else 2
    headings = HEADINGS | {"estimate": "ratio" if is_ratio else "estimate"}
    decimals = dict.fromkeys(("estimate", "lower", "upper"), places) | {"df": 1}
    decimals |= {"p": 4, "p_adjusted": 4}
    order = "first / second" if is_ratio else "first − second"
    return (
        table_of(result.groups, f"{label}, by method", HEADINGS, places),
        table_of(
            result.differences,
            f"{label}, comparisons ({order})",
            headings,
            decimals,
            note=" ".join(result.notes),
        ),
    )


def _check(results: Results) -> RelabellingCheck | str:
    trial = results.trial
    if not results.record.randomised:
        return "The order was not drawn at random, so there is no draw to repeat."
    if trial.layout.design not in FREE_WITHIN_BLOCKS:
        return (
            f"The order of this trial ({trial.layout.design}) was not dealt freely within blocks, "
            "so the simple check in this page would not be valid. “fairpull reproduce” repeats the "
            "draw as it was made."
        )
    measure = measure_of(trial.primary.measure)
    try:
        return relabelling_check(
            results.shots,
            measure.column,
            measure.in_text,
            measure.difference_unit,
            seed=1,
            methods=trial.method_names,
        )
    except DataError as refusal:
        return str(refusal)


def methods_paragraphs(results: Results, folder: Path) -> tuple[str, ...]:
    """Paragraphs to copy into a description."""
    trial = results.trial
    design = IN_WORDS.get(trial.layout.design, trial.layout.design)
    paragraphs = [
        f"{len(trial.methods)} methods ({', '.join(trial.method_names)}) were compared in "
        f"{design} over {trial.layout.sessions} sessions. The unit is one shot (one puck, one "
        "pull); readings of one cup are averaged and never counted as shots.",
    ]
    if (folder / FREEZE_FILE).exists():
        paragraphs.append(
            f"Order: {randomisation_scheme(trial).words()} Seed {read_freeze(folder).seed}, drawn "
            f"with numpy's {read_freeze(folder).bit_generator}."
        )
    for result in results.analysis.results:
        paragraphs.append(f"{outcome_label(result.outcome)}: {' '.join(result.notes)}")
    paragraphs.append(
        "Verdicts: a comparison whose simultaneous 95 % interval lies inside ± the smallest "
        "difference that matters is called the same; one whose interval excludes no difference is "
        "called different; any other cannot be told."
    )
    return tuple(paragraphs)


def _cautions(results: Results) -> tuple[str, ...]:
    tasting = TASTING_START if results.trial.tasting.tasters else ()
    return (*(caution.text for caution in (*SESSION_START, *tasting)), ALWAYS)
