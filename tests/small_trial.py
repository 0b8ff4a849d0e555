"""A small published trial: ``four_naps`` in six blocks with one outcome and no blind analyst.

It is analysed in a fraction of the time of the whole sample, so that many ways to tamper with its
bundle, and many windows, can be tried.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import tomlkit

from kit.results import compute_results, write_tables_and_findings
from sample_sessions.make_samples import make_sample


def make_small(
    samples: Path, folder: Path, shots_seed: int | None = None, measure: str = "ey_pct"
) -> Path:
    """Make the small trial in ``folder``: pulled and complete, not analysed; returns the folder."""
    source = samples / "four_naps"
    trial = tomlkit.parse((source / "trial.toml").read_text(encoding="utf-8"))
    trial["layout"]["sessions"], trial["layout"]["blocks_per_session"] = 2, 3
    trial["budget"]["sessions"] = 2
    trial["blinding"]["analyst"] = False
    del trial["outcomes"][1:]
    trial["outcomes"][0]["measure"] = measure
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "trial.toml").write_text(tomlkit.dumps(trial), encoding="utf-8")
    truth = (source / "truth.toml").read_text(encoding="utf-8")
    truth = truth.replace("study_shot = 13", "study_shot = 10")
    if shots_seed is not None:
        made_with = tomllib.loads(truth)["shots_seed"]
        truth = truth.replace(f"shots_seed = {made_with}", f"shots_seed = {shots_seed}")
    (folder / "truth.toml").write_text(truth, encoding="utf-8")
    make_sample(folder)
    return folder


def publish_small(
    samples: Path, folder: Path, shots_seed: int | None = None, measure: str = "ey_pct"
) -> Path:
    """The same with its tables and findings written."""
    make_small(samples, folder, shots_seed, measure)
    write_tables_and_findings(compute_results(folder), folder)
    return folder
