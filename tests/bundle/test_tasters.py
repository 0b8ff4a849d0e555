"""The cups of the tasters travel with a bundle, are drawn again, and never bear a name."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from kit.bundle.contents import trial_entries
from kit.bundle.metadata import PACKAGE, data_package
from kit.bundle.reproduce import tasting_checks
from kit.bundle.tasters import refuse_names_of_tasters
from kit.errors import BundleError
from kit.schedule.tasting import ORDERS_FILE, SETS_FILE, draw_missing_tasting
from kit.trial import read_trial
from kit.trial.codes import is_code


@pytest.fixture(scope="module")
def tasted(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of ``seven_rivers`` with its cups and sets drawn; do not change it."""
    folder = tmp_path_factory.mktemp("tasted") / "seven_rivers"
    shutil.copytree(samples / "seven_rivers", folder)
    draw_missing_tasting(folder)
    return folder


def test_cups_and_sets_are_in_the_bundle_and_follow_from_the_seed(tasted: Path) -> None:
    assert {ORDERS_FILE, SETS_FILE} <= set(trial_entries(tasted))
    checks = list(tasting_checks(tasted))
    assert [(check.what, check.agrees) for check in checks] == [
        (ORDERS_FILE, True),
        (SETS_FILE, True),
    ]


@pytest.mark.parametrize("name", [ORDERS_FILE, SETS_FILE])
def test_a_cup_dealt_to_another_taster_is_named(tasted: Path, tmp_path: Path, name: str) -> None:
    folder = tmp_path / "edited"
    shutil.copytree(tasted, folder)
    text = (folder / name).read_text(encoding="utf-8")
    (folder / name).write_text(text.replace("T1,", "T2,", 1), encoding="utf-8")
    assert [check.what for check in tasting_checks(folder) if not check.agrees] == [name]


def test_lock_files_and_whatever_lies_beside_a_trial_stay_out(tasted: Path, tmp_path: Path) -> None:
    folder = tmp_path / "beside"
    shutil.copytree(tasted, folder)
    for name in (".shots.jsonl.lock", "drafts.jsonl", "names_of_tasters.csv", "4_publish.ipynb"):
        (folder / name).write_text("Anna is T1", encoding="utf-8")
    (folder / "results").mkdir()
    (folder / "results" / ".report.html.lock").write_text("", encoding="utf-8")
    entries = trial_entries(folder)
    assert not [name for name in entries if name.endswith((".lock", ".ipynb")) or "names" in name]
    assert not [name for name, content in entries.items() if b"Anna" in content]


def test_the_tables_of_cups_fit_their_schema(tasted: Path, tmp_path: Path) -> None:
    frictionless = pytest.importorskip("frictionless")
    entries = trial_entries(tasted)
    for name, content in entries.items():
        (tmp_path / name).write_bytes(content)
    package = data_package(read_trial(tasted), entries, "CC-BY-4.0")
    (tmp_path / PACKAGE).write_bytes(package)
    read = frictionless.Package(str(tmp_path / PACKAGE))
    assert {"tasting_orders", "tasting_sets"} <= {one.name for one in read.resources}
    report = read.validate()
    assert report.valid, report.flatten(["type", "note"])


def test_a_taster_by_name_is_refused_wherever_it_stands(tasted: Path) -> None:
    trial, entries = read_trial(tasted), trial_entries(tasted)
    refuse_names_of_tasters(trial, entries)
    in_plan = trial.tasting.model_copy(update={"tasters": ("T1", "Anna")})
    with pytest.raises(BundleError, match="“Anna” seems to stand in this trial by name"):
        refuse_names_of_tasters(trial.model_copy(update={"tasting": in_plan}), entries)
    for name in ("tastings.csv", ORDERS_FILE, SETS_FILE):
        changed = entries | {name: entries[name].replace(b"T1,", b"Anna Berg,")}
        with pytest.raises(BundleError, match="“Anna Berg”"):
            refuse_names_of_tasters(trial, changed)


@pytest.mark.parametrize("code", ["T1", "AB", "p7", "panel-07", "12"])
def test_codes_and_initials_are_no_names(tasted: Path, code: str) -> None:
    assert is_code(code)
    trial = read_trial(tasted)
    tasting = trial.tasting.model_copy(update={"tasters": (code,)})
    refuse_names_of_tasters(trial.model_copy(update={"tasting": tasting}), {})
