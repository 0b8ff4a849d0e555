"""The same trial from several kitchens: pooled by the bundles' own recomputed differences."""

import shutil
import tomllib
from pathlib import Path

import pytest

from kit.bundle import write_bundle
from kit.bundle.pooled import pool_bundles
from kit.errors import BundleError, ModelError
from kit.results import compute_results, write_tables_and_findings
from sample_sessions.make_samples import make_sample


@pytest.fixture(scope="module")
def kitchens(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Three invented repeats of ``four_naps`` with seeds of their own."""
    bundles = []
    for number in (1, 2, 3):
        folder = tmp_path_factory.mktemp("kitchen") / f"kitchen_{number}"
        folder.mkdir()
        shutil.copy(samples / "four_naps" / "trial.toml", folder)
        truth = (samples / "four_naps" / "truth.toml").read_text(encoding="utf-8")
        seed = tomllib.loads(truth)["shots_seed"]
        truth = truth.replace(f"shots_seed = {seed}", f"shots_seed = {900 + number}")
        (folder / "truth.toml").write_text(truth, encoding="utf-8")
        make_sample(folder)
        write_tables_and_findings(compute_results(folder), folder)
        bundles.append(write_bundle(folder))
    return bundles


def test_pool_lies_among_the_kitchens_and_narrows(kitchens: list[Path]) -> None:
    found = pool_bundles(kitchens)
    assert len(found.pooled) == 6
    one = found.pooled["Harbour", "Fjord"]
    rows = found.kitchens[(found.kitchens["a"] == "Harbour") & (found.kitchens["b"] == "Fjord")]
    assert rows["estimate"].min() <= one.estimate <= rows["estimate"].max()
    # The truth behind all three: 19.4 − 19.9.
    assert one.lower < -0.5 < one.upper
    assert one.prediction_lower <= one.lower
    assert one.upper <= one.prediction_upper
    assert next(picture.name for picture in found.pictures()) == "kitchens_Harbour_Fjord"


def test_other_trials_tampered_bundles_and_single_ones_are_refused(
    kitchens: list[Path], samples: Path, tmp_path: Path
) -> None:
    with pytest.raises(ModelError, match="cannot be pooled"):
        pool_bundles(kitchens[:1])
    other = tmp_path / "other"
    shutil.copytree(samples / "disc_and_soak", other)
    write_tables_and_findings(compute_results(other), other)
    with pytest.raises(BundleError, match="Only repeats of one trial"):
        pool_bundles([kitchens[0], write_bundle(other)])
