"""Commands that make or open a trial folder: new, open."""

from __future__ import annotations

import tempfile
from pathlib import Path

from kit.cli.answer import Answer
from kit.errors import BundleError, DataError
from kit.files import read_text, write_atomically
from kit.shipped import sample_session
from kit.trial import TRIAL_FILE, Trial, trial_from_toml, trial_to_toml

HEADER = """\
# Everything decided before the first shot. Change what stands after an = sign; keep the names.
# Lines that begin with # are notes for people. “fairpull plan” says what is wrong or missing.
"""


def new(folder: Path, like: str, bundle: Path | None) -> Answer:
    """Start a trial in a new folder from a sample's plan or from a published one."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise DataError(
            f"{folder} is there already and is not empty. Nothing was changed. "
            "Choose a name that is not taken."
        )
    text = _published_plan(bundle) if bundle is not None else _plan_like(like)
    path = write_atomically(folder / TRIAL_FILE, text)
    steps = (
        f"Started {folder}. Your plan is {path}; change it to fit your question.\n"
        f"Next: fairpull open {folder}     (notebooks)\n"
        f"  or: fairpull plan {folder}     (terminal)"
    )
    return Answer(steps, {"folder": str(folder), "trial": str(path)})


def open_trial(folder: Path, no_browser: bool) -> Answer:
    """Open the notebooks on a trial and stay until Ctrl-C."""
    from kit.launcher import open_notebooks

    return Answer("", {}, open_notebooks(folder, browser=not no_browser))


def _plan_like(sample: str) -> str:
    """The plan of a sample, without its marks of an invented example."""
    text = read_text(sample_session(sample) / TRIAL_FILE)
    body = "\n".join(line for line in text.splitlines() if not line.startswith("#"))
    return HEADER + trial_to_toml(_as_own(trial_from_toml(text)), body.lstrip("\n") + "\n")


def _as_own(trial: Trial) -> Trial:
    coffee = trial.coffee.model_copy(update={"name": "Your coffee", "roast_date": None})
    return trial.model_copy(update={"title": "My trial", "invented": False, "coffee": coffee})


def _published_plan(bundle: Path) -> str:
    """The plan inside a bundle: data only, checked like any other, with a draw of its own."""
    from kit.bundle.archive import unpack

    entries = unpack(bundle)
    if TRIAL_FILE not in entries:
        raise BundleError(f"{bundle.name} holds no {TRIAL_FILE}, so there is no plan to repeat.")
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / TRIAL_FILE
        path.write_bytes(entries[TRIAL_FILE])
        text = read_text(path)
    trial = trial_from_toml(text, file=f"{TRIAL_FILE} in {bundle.name}")
    layout = trial.layout.model_copy(update={"seed": None})
    own = trial.model_copy(update={"layout": layout, "invented": False})
    return HEADER + trial_to_toml(own)
