"""What goes out, without a browser: pictures, stills, sentences, and where the files land."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from kit.bundle.archive import unpack
from kit.figures import FORMATS
from kit.results import Results
from kit.shipped import sample_session
from kit.widgets.progress import StoppedError
from kit.widgets.publish.model import GROUNDS, SHAPES, PublishModel

FILMED = 5


@pytest.fixture(scope="module")
def panel(tmp_path_factory: pytest.TempPathFactory, four_naps_results: Results) -> PublishModel:
    folder = tmp_path_factory.mktemp("publish") / "four_naps"
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
def test_every_offered_format_exists(panel: PublishModel, shape: str) -> None:
    for ground in GROUNDS:
        panel.choose(shape, ground)
        assert panel.format_name in FORMATS


def test_the_film_has_a_still_for_every_study_shot(panel: PublishModel, tmp_path: Path) -> None:
    """Of a trial cut to its first study shots: each still is drawn at full size."""
    shutil.copy(panel.folder / "trial.toml", tmp_path)
    results = panel.results
    study = results.analysis.study.head(FILMED)
    short = PublishModel(tmp_path)
    short.keep(replace(results, analysis=replace(results.analysis, study=study)))
    short.choose("still-wide", "-dark")
    told: list[float] = []
    *stills, film = short.write_film(told.append)
    assert len(stills) == study["ey_pct"].notna().sum() == FILMED
    assert [path.name for path in stills] == sorted(path.name for path in stills)
    assert {path.parent for path in stills} == {tmp_path / "stills"}
    with Image.open(stills[-1]) as still:
        assert still.size == (1920, 1080)
    with Image.open(film) as animation:
        assert animation.n_frames == FILMED
    assert told == sorted(told)


def test_one_picture_or_all_are_written_and_writing_can_be_stopped(panel: PublishModel) -> None:
    panel.choose("print-single", "")
    panel.pick(1)
    names = [path.name for path in panel.write_picture()]
    assert names == ["means_ey_pct_print-single.pdf", "means_ey_pct_print-single.svg"]

    def stop(share: float) -> None:
        raise StoppedError

    figures = panel.folder / "results" / "figures"
    before = set(figures.iterdir())
    with pytest.raises(StoppedError):
        panel.write_pictures(stop)
    assert {path.name for path in set(figures.iterdir()) - before} == {
        "shots_ey_pct_print-single.pdf", "shots_ey_pct_print-single.svg", "shots_ey_pct.txt",
    }  # fmt: skip
    panel.pick(0)


def test_report_and_bundle_land_in_the_trial_folder(panel: PublishModel) -> None:
    panel.choose("page", "")
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


def test_the_licence_of_the_data_is_the_one_chosen(panel: PublishModel) -> None:
    from kit.bundle import write_bundle

    chosen = unpack(write_bundle(panel.folder, "CC0-1.0"))
    assert b"Creative Commons Zero 1.0" in chosen["README.md"]
    assert b"CC-BY" not in chosen["datapackage.json"]
    assert panel.licence == "CC-BY-4.0"


def test_what_may_be_said_starts_with_the_answer(panel: PublishModel) -> None:
    findings = panel.results.findings
    assert panel.sentences().startswith(findings.headline)
    assert all(limit in panel.sentences() for limit in findings.limits)
    assert "Seed" in panel.methods_text()


def test_the_copy_buttons_hold_what_stands_in_the_boxes(panel: PublishModel) -> None:
    from kit.widgets.publish.view import PublishView

    view = PublishView(panel)
    assert view._copy_say.text == panel.sentences()
    assert view._copy_methods.text == panel.methods_text()
    view._say.value = "shorter"
    assert view._copy_say.text == "shorter"
