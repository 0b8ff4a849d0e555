"""The same trial from several kitchens: pooled by the bundles' own recomputed differences."""

from pathlib import Path

import pytest

from kit.bundle import write_bundle
from kit.bundle.pooled import pool_bundles
from kit.errors import BundleError, ModelError
from tests.small_trial import publish_small


@pytest.fixture(scope="module")
def kitchens(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Three invented repeats of ``four_naps`` with seeds of their own."""
    home = tmp_path_factory.mktemp("kitchens")
    return [
        write_bundle(publish_small(samples, home / f"kitchen_{number}", 900 + number))
        for number in (1, 2, 3)
    ]


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
    assert list(rows["kitchen"]) == ["kitchen_1", "kitchen_2", "kitchen_3"]
    figure = found.pictures()[0].figure
    assert "Invented example" in [text.get_text() for text in figure.texts]
    said = found.sentences()[0]
    assert said.startswith("Harbour − Fjord: −0.")
    assert " points (" in said
    assert "over 3 kitchens; in one further kitchen, yours say, between " in said
    assert next(picture.name for picture in found.pictures()) == "kitchens_Harbour_Fjord"


def test_other_trials_tampered_bundles_and_single_ones_are_refused(
    kitchens: list[Path], samples: Path, tmp_path: Path
) -> None:
    with pytest.raises(ModelError, match="cannot be pooled"):
        pool_bundles(kitchens[:1])
    other = publish_small(samples, tmp_path / "other", measure="tds_pct")
    with pytest.raises(BundleError, match="Only repeats of one trial"):
        pool_bundles([kitchens[0], write_bundle(other)])


def test_the_same_shots_count_once(kitchens: list[Path], tmp_path: Path) -> None:
    """Pooled with themselves they would seem certain: no spread between two equal kitchens."""
    twin = tmp_path / "twin-bundle.zip"
    twin.write_bytes(kitchens[0].read_bytes())
    with pytest.raises(BundleError, match="hold the same shots"):
        pool_bundles([kitchens[1], kitchens[0], twin])
