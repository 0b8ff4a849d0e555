"""A small published trial: ``four_naps`` in six blocks with one outcome and no blind analyst.

Its bundle is recomputed in a fraction of the time of the whole sample, so that many ways to
tamper with one can be tried.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
import tomlkit

from kit.bundle import write_bundle
from kit.bundle.archive import unpack
from kit.results import compute_results, write_tables_and_findings
from sample_sessions.make_samples import make_sample


def publish_small(
    samples: Path, folder: Path, shots_seed: int | None = None, measure: str = "ey_pct"
) -> Path:
    """Make the small trial in ``folder`` and publish it; returns the folder."""
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
    write_tables_and_findings(compute_results(folder), folder)
    return folder


@pytest.fixture(scope="session")
def small_published(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the small published trial; do not change it."""
    return publish_small(samples, tmp_path_factory.mktemp("small") / "small")


@pytest.fixture(scope="session")
def small_bundle(small_published: Path) -> Path:
    """Its bundle."""
    return write_bundle(small_published)


@pytest.fixture(scope="session")
def small_entries(small_bundle: Path) -> dict[str, bytes]:
    """The entries of its bundle."""
    return unpack(small_bundle)
