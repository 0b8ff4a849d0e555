"""``fairpull demo``: the whole path on an invented trial, one line a step."""

from __future__ import annotations

import shutil
import sys
import time
from pathlib import Path

from kit.cli.answer import Answer
from kit.errors import DataError
from kit.shipped import sample_session

SAMPLE = "four_naps"
COPIED = (
    "trial.toml",
    "truth.toml",
    "schedule.csv",
    "freeze.json",
    "shots.jsonl",
    "deviations.csv",
)


def demo(folder: Path | None) -> Answer:
    """Copy the sample trial and take it from its question to a published result."""
    started = time.perf_counter()
    target = _free_folder(folder)
    say = _Progress()
    say("question", _copy_sample(target))
    from kit.cli.path import walk

    outcome = walk(target, say)
    text = "\n".join(
        [
            "",
            outcome.headline,
            "",
            f"Report:    {outcome.report}",
            f"Bundle:    {outcome.bundle}",
            f"Notebooks: fairpull open {target}",
            f"           ({time.perf_counter() - started:.1f} s; an invented example)",
        ]
    )
    data = {
        "folder": str(target),
        "headline": outcome.headline,
        "report": str(outcome.report),
        "bundle": str(outcome.bundle),
    }
    return Answer(text, data)


class _Progress:
    """Prints one line a finished step, on the error stream so that --json stays clean."""

    def __call__(self, step: str, done: str) -> None:
        print(f"{step:<11} {done}", file=sys.stderr, flush=True)


def _free_folder(folder: Path | None) -> Path:
    if folder is not None:
        if folder.exists() and any(folder.iterdir()):
            raise DataError(
                f"{folder} is there already and is not empty. Nothing was changed. "
                "Choose a name that is not taken."
            )
        return folder
    number, free = 1, Path(SAMPLE)
    while free.exists():
        number += 1
        free = Path(f"{SAMPLE}-{number}")
    return free


def _copy_sample(target: Path) -> str:
    from kit.trial import read_trial

    source = sample_session(SAMPLE)
    target.mkdir(parents=True, exist_ok=True)
    for name in COPIED:
        if (source / name).exists():
            shutil.copyfile(source / name, target / name)
    return read_trial(target).question
