"""Commands after the last shot: analyse, publish, reproduce, verify, pool."""

from __future__ import annotations

import os
import sys
import webbrowser
from datetime import datetime
from pathlib import Path
from typing import Any

from kit.cli.answer import Answer
from kit.errors import KitError

LETTERS = (
    "Methods are shown as letters: this analysis is blind until it is settled. When nothing is to "
    "be changed any more: fairpull settle {folder}"
)


def analyse(folder: Path) -> Answer:
    """What the shots say, in words: a trial folder, or a plain table of shots."""
    from kit.results import compute_blind_results, compute_results, names_hidden
    from kit.results.gate import refuse_early_look
    from kit.results.plain import ASSUMED, analyse_plain_table

    now = datetime.now().astimezone()
    if folder.is_file():
        results = analyse_plain_table(folder, now)
        return Answer(_in_words(results, [ASSUMED]), results.findings.as_data())
    refuse_early_look(folder, now, by="command line")
    if names_hidden(folder):
        blind = compute_blind_results(folder, _say_progress)
        text = f"{_in_words(blind, [])}\n\n{LETTERS.format(folder=folder)}"
        return Answer(text, blind.findings.as_data())
    results = compute_results(folder, _say_progress)
    return Answer(_in_words(results, []), results.findings.as_data())


def settle(folder: Path) -> Answer:
    """Settle a blind analysis as it stands; from then on names are shown."""
    from kit.results import compute_blind_results, lock_analysis
    from kit.results.gate import refuse_early_look
    from kit.results.write import findings_text

    now = datetime.now().astimezone()
    refuse_early_look(folder, now, by="command line")
    said = findings_text(compute_blind_results(folder))
    lock = lock_analysis(folder, said, now, by="command line")
    return Answer(f"Settled at {lock.at}. Names are shown from now on.", vars(lock))


def publish(folder: Path, stills: str | None, licence: str) -> Answer:
    """Tables, figures, findings, report and bundle, in the trial's folder."""
    from kit.cli.path import publish_trial
    from kit.figures.picture import canvas_of
    from kit.results.gate import refuse_early_look, refuse_unsettled

    refuse_early_look(folder, datetime.now().astimezone(), by="command line")
    refuse_unsettled(folder)
    if stills is not None:
        canvas_of(stills)  # a format that is not there is refused before the long work
    done = publish_trial(folder, lambda step, text: _say_progress(f"{step}: {text}"), licence)
    text = f"{done.headline}\n\nReport: {done.report}\nBundle: {done.bundle}"
    data = {"headline": done.headline, "report": str(done.report), "bundle": str(done.bundle)}
    if stills is not None:
        film = _film(folder, stills)
        text += f"\nStills: {film.parent}\nFilm:   {film}"
        data |= {"stills": str(film.parent), "film": str(film)}
    return Answer(text, data)


def _film(folder: Path, format_name: str) -> Path:
    """The running means after every shot, as stills and as an animation; returns the animation."""
    from kit.analysis.designed_model import study_shots
    from kit.results import stills, write_stills
    from kit.shotlog import read_shots
    from kit.trial import read_trial

    trial = read_trial(folder)
    pictures = stills(trial, study_shots(read_shots(folder), trial)[0])
    _say_progress(f"stills: {len(pictures)} in shooting order, as {format_name}.")
    return write_stills(pictures, folder, format_name, lambda _: None)[-1]


def reproduce(bundle: Path, no_browser: bool) -> Answer:
    """Recompute a bundle and write its report anew; exit code 1 when anything differs."""
    from kit.bundle import reproduce as recompute

    found = recompute(bundle)
    width = max(len(check.what) for check in found.checks)
    lines = [
        f"{'ok  ' if check.agrees else 'DIFF'} {check.what:<{width}}  {check.detail}"
        for check in found.checks
    ]
    differing = [check for check in found.checks if not check.agrees]
    lines.append("")
    if differing:
        lines.append(f"{len(differing)} of {len(found.checks)} checks differ.")
    else:
        lines.append(f"Every number matches ({len(found.checks)} checks).")
        lines.append(found.results.findings.headline)
    said, report = _own_report(bundle, found, no_browser)
    data = {
        "matches": found.succeeded,
        "checks": [vars(check) for check in found.checks],
        "report": None if report is None else str(report),
    }
    return Answer("\n".join([*lines, "", said]), data, 0 if found.succeeded else 1)


def _own_report(bundle: Path, found: Any, no_browser: bool) -> tuple[str, Path | None]:
    """Write the recomputed page and open it where somebody sits before a screen.

    A page that cannot be written takes nothing away from the checks.
    """
    from kit.bundle import write_own_report

    try:
        report = write_own_report(bundle, found)
    except KitError as refusal:
        return f"No report written: {refusal}", None
    if not no_browser and _somebody_watches():
        webbrowser.open(report.resolve().as_uri())
    return f"Report, recomputed here: {report}", report


def _somebody_watches() -> bool:
    """Whether there is a screen, and the answer goes to a person rather than to a program."""
    screen = sys.platform in {"darwin", "win32"} or any(
        os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY")
    )
    return screen and sys.stdout.isatty()


def verify(bundle: Path, seal: str) -> Answer:
    """Whether a bundle carries the seal that was shown; exit code 1 when it does not."""
    from kit.bundle.seal import seal_matches

    matches, sentence = seal_matches(bundle, seal)
    return Answer(sentence, {"matches": matches}, 0 if matches else 1)


def pool(bundles: list[Path], to: Path) -> Answer:
    """Combine the primary differences of several bundles; writes tables and forest figures."""
    from kit.bundle.pooled import pool_bundles
    from kit.figures import save_picture
    from kit.files import write_atomically
    from kit.results.tables import csv_of

    found = pool_bundles(bundles)
    table = found.table()
    write_atomically(to / "kitchens.csv", csv_of(found.kitchens))
    write_atomically(to / "pooled.csv", csv_of(table))
    for picture in found.pictures():
        for format_name in ("page", "still-wide"):
            save_picture(picture, to, format_name)
    lines = found.sentences()
    lines += ["", f"Tables and forest figures: {to}"]
    return Answer("\n".join(lines), {"pooled": table.to_dict("records"), "folder": str(to)})


def _say_progress(text: str) -> None:
    print(f"  {text}", file=sys.stderr, flush=True)


def _in_words(results: Any, assumed: list[str]) -> str:
    """The findings as a page of text: verdict first, each outcome, claims, checks, limits."""
    from kit.findings.whole_trial import WHOLE

    findings = results.findings
    lines = [findings.question, "", findings.headline, ""]
    for outcome in findings.outcomes:
        lines += [outcome.headline, *(f"  {sentence}" for sentence in outcome.pairs), ""]
    whole = [claim for claim in findings.claims if claim.outcome == WHOLE]
    if whole:
        lines += ["Of the whole trial one might say:"]
        lines += [f"  “{one.claim}” – {one.standing}. {one.strongest}" for one in whole]
        lines += [""]
    if findings.checks:
        lines += ["Beside the claim:", *(f"  {sentence}" for sentence in findings.checks), ""]
    lines += ["What these shots cannot speak for:"]
    lines += [f"  {sentence}" for sentence in (*assumed, *findings.limits, *findings.set_aside)]
    return "\n".join(lines)
