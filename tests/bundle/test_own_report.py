"""The page made anew from a bundle is ours: nothing of the bundle's own page comes with it."""

import json
import shutil
from pathlib import Path

import pytest

from kit.bundle import Reproduction, reproduce, reproduced_folder, write_bundle, write_own_report
from kit.bundle.archive import pack, unpack
from kit.bundle.metadata import CHECKSUMS, checksums
from kit.errors import BundleError


@pytest.fixture(scope="module")
def bundle(published_four_naps: Path) -> Path:
    return write_bundle(published_four_naps)


@pytest.fixture(scope="module")
def found(bundle: Path) -> Reproduction:
    return reproduce(bundle)


def test_a_page_that_came_with_the_bundle_is_never_used(
    bundle: Path, found: Reproduction, tmp_path: Path
) -> None:
    entries = unpack(bundle) | {"results/report.html": b"<script>alert(1)</script>"}
    own = pack(entries, tmp_path / "theirs.zip")
    report = write_own_report(own, found)
    assert report == tmp_path / "theirs-reproduced" / "report.html"
    text = report.read_text(encoding="utf-8")
    assert "alert(1)" not in text
    assert f"Recomputed from theirs.zip: all {len(found.checks)} checks match" in text
    assert found.results.findings.headline in text
    assert [path.name for path in report.parent.iterdir()] == ["report.html"]


def test_nothing_is_overwritten(bundle: Path, found: Reproduction, tmp_path: Path) -> None:
    copy = Path(shutil.copy(bundle, tmp_path / "a.zip"))
    target = reproduced_folder(copy)
    target.mkdir()
    (target / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(BundleError, match="is there already and was left as it is"):
        write_own_report(copy, found)
    assert [path.name for path in target.iterdir()] == ["notes.txt"]


def test_what_differs_stands_at_the_top_of_the_page(bundle: Path, tmp_path: Path) -> None:
    """Other findings under the seal of the blind analysis are found, and the page warns."""
    entries = unpack(bundle)
    lock = json.loads(entries["analysis_lock.json"])
    entries["analysis_lock.json"] = json.dumps(lock | {"findings_sha256": "0" * 64}).encode()
    del entries[CHECKSUMS]
    entries[CHECKSUMS] = checksums(entries)
    changed = pack(entries, tmp_path / "<i>b.zip")
    found = reproduce(changed)
    differing = [check.what for check in found.checks if not check.agrees]
    assert differing == ["blind analysis"]
    text = write_own_report(changed, found).read_text(encoding="utf-8")
    assert "checks differ from what was published (blind analysis)" in text
    assert "<i>b.zip" not in text


def test_the_sealed_findings_of_the_blind_analysis_are_found_again(found: Reproduction) -> None:
    (check,) = [check for check in found.checks if check.what == "blind analysis"]
    assert check.agrees
    assert "in letters" in check.detail
