"""Commands after the last shot: analyse, publish, reproduce, verify, pool."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import Any

from kit.cli.answer import Answer


def analyse(folder: Path) -> Answer:
    """What the shots say, in words: a trial folder, or a plain table of shots."""
    from kit.results import compute_results
    from kit.results.plain import ASSUMED, analyse_plain_table

    if folder.is_file():
        results = analyse_plain_table(folder, datetime.now().astimezone())
        return Answer(_in_words(results, [ASSUMED]), results.findings.as_data())
    results = compute_results(folder, _say_progress)
    return Answer(_in_words(results, []), results.findings.as_data())


def publish(folder: Path) -> Answer:
    """Tables, figures, findings, report and bundle, in the trial's folder."""
    from kit.cli.path import publish_trial

    done = publish_trial(folder, lambda step, text: _say_progress(f"{step}: {text}"))
    text = f"{done.headline}\n\nReport: {done.report}\nBundle: {done.bundle}"
    data = {"headline": done.headline, "report": str(done.report), "bundle": str(done.bundle)}
    return Answer(text, data)


def reproduce(bundle: Path) -> Answer:
    """Recompute a bundle; exit code 1 when anything differs."""
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
    data = {"matches": found.succeeded, "checks": [vars(check) for check in found.checks]}
    return Answer("\n".join(lines), data, 0 if found.succeeded else 1)


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
        save_picture(picture, to, "page")
    lines = [
        f"{a} − {b}: {one.estimate:+.2f} ({one.lower:+.2f} to {one.upper:+.2f}) over "
        f"{one.kitchens} kitchens; in one further kitchen, yours say, between "
        f"{one.prediction_lower:+.2f} and {one.prediction_upper:+.2f}."
        for (a, b), one in found.pooled.items()
    ]
    lines += ["", f"Tables and forest figures: {to}"]
    return Answer("\n".join(lines), {"pooled": table.to_dict("records"), "folder": str(to)})


def _say_progress(text: str) -> None:
    print(f"  {text}", file=sys.stderr, flush=True)


def _in_words(results: Any, assumed: list[str]) -> str:
    """The findings as a page of text: verdict first, then each outcome, then the limits."""
    findings = results.findings
    lines = [findings.question, "", findings.headline, ""]
    for outcome in findings.outcomes:
        lines += [outcome.headline, *(f"  {sentence}" for sentence in outcome.pairs), ""]
    lines += ["What these shots cannot speak for:"]
    lines += [f"  {sentence}" for sentence in (*assumed, *findings.limits, *findings.set_aside)]
    return "\n".join(lines)
