"""What goes out, without a browser: pictures, stills, sentences, and where the files land."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from PIL import Image

from kit.bundle.archive import unpack
from kit.results import Results
from kit.shipped import sample_session
from kit.widgets.publish.model import GROUNDS, SHAPES, PublishModel


@pytest.fixture
def panel(tmp_path: Path, four_naps_results: Results) -> PublishModel:
    folder = tmp_path / "four_naps"
    shutil.copytree(sample_session("four_naps"), folder)
    model = PublishModel(folder)
    model.keep(four_naps_results)
    return model


def test_every_picture_has_a_title_of_its_own(panel: PublishModel) -> None:
    titles = panel.picture_titles()
    assert len(set(titles)) == len(titles) == len(panel.pictures())
    assert "Means: extraction yield" in titles
    assert "Other defensible analyses: extraction yield" in titles
    assert titles[-1] == "Balance of the schedule"


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("ground", GROUNDS)
def test_every_offered_format_exists(panel: PublishModel, shape: str, ground: str) -> None:
    panel.choose(shape, ground)
    assert panel.picture is not None
    from kit.figures import FORMATS

    assert panel.format_name in FORMATS


def test_the_film_has_a_still_for_every_study_shot(panel: PublishModel) -> None:
    panel.choose("still-wide", "-dark")
    told: list[float] = []
    *stills, film = panel.write_film(told.append)
    kept = panel.results.analysis.study["ey_pct"].notna().sum()
    assert len(stills) == kept
    assert [path.name for path in stills] == sorted(path.name for path in stills)
    assert {path.parent for path in stills} == {panel.folder / "stills"}
    with Image.open(film) as animation:
        assert animation.n_frames == kept
    assert told == sorted(told)


def test_report_and_bundle_land_in_the_trial_folder(panel: PublishModel) -> None:
    page, bundle = panel.write_all(lambda _: None)
    assert page == panel.folder / "results" / "report.html"
    assert bundle == panel.folder / "four_naps-bundle.zip"
    assert page.stat().st_size < 3_000_000
    assert {"results/report.html", "four_naps-bundle.zip"} <= set(panel.files())
    assert not [name for name in unpack(bundle) if name.startswith("stills")]
    text = page.read_text(encoding="utf-8")
    assert text.index('id="methods"') < text.index("Certificate of balance") < text.index(
        'id="consort"'
    )  # fmt: skip


def test_what_may_be_said_starts_with_the_answer(panel: PublishModel) -> None:
    findings = panel.results.findings
    assert panel.sentences().startswith(findings.headline)
    assert all(limit in panel.sentences() for limit in findings.limits)
    assert "Seed" in panel.methods_text()
