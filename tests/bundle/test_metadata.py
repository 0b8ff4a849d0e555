"""The bundle's own description, judged by the validators of the two standards.

Frictionless (package ``frictionless``) checks every table against its schema; ``rocrate`` reads
the crate as RO-Crate 1.1 and finds every file.
"""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from kit.bundle import write_bundle
from kit.bundle.archive import unpack
from kit.bundle.metadata import CRATE, LICENCES, PACKAGE
from kit.bundle.write import PROPOSED_LICENCE
from kit.errors import BundleError
from kit.schedule import read_freeze


@pytest.fixture(scope="module")
def unpacked(published_four_naps: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("unpacked")
    for name, content in unpack(write_bundle(published_four_naps)).items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


def test_every_table_fits_its_schema(unpacked: Path) -> None:
    frictionless = pytest.importorskip("frictionless")
    package = frictionless.Package(str(unpacked / PACKAGE))
    report = package.validate()
    assert report.valid, report.flatten(["type", "note"])
    assert {resource.name for resource in package.resources} >= {"shots", "schedule", "deviations"}
    fields = {field.name: field for field in package.get_resource("shots").schema.fields}
    assert "Unit: g" in fields["dose_g"].description


def test_the_crate_describes_every_file(unpacked: Path) -> None:
    crate_module = pytest.importorskip("rocrate.rocrate")
    crate = crate_module.ROCrate(str(unpacked))
    described = {entity.id for entity in crate.data_entities}
    on_disk = {
        path.relative_to(unpacked).as_posix()
        for path in unpacked.rglob("*")
        if path.is_file() and path.name != CRATE
    }
    assert described == on_disk
    assert crate.root_dataset["license"].id.startswith("https://creativecommons.org/licenses/by/4")
    graph = json.loads((unpacked / CRATE).read_text(encoding="utf-8"))["@graph"]
    descriptor = next(entry for entry in graph if entry["@id"] == CRATE)
    assert descriptor["conformsTo"]["@id"] == "https://w3id.org/ro/crate/1.1"


def test_the_readme_tells_a_stranger_what_to_do(unpacked: Path) -> None:
    text = (unpacked / "README.md").read_text(encoding="utf-8")
    for words in (
        "An invented example",
        "fairpull reproduce",
        "fairpull new",
        "Creative Commons",
        "Seal:",
        "fairpull verify THIS-FILE.zip",
    ):
        assert words in text
    assert "| `schedule.csv`, `freeze.json` |" in text
    assert "tasting_orders.csv" not in text  # nobody tastes in this trial
    for name in re.findall(r"`([\w/.-]+)`", text.split("## To get the same numbers")[0]):
        assert (unpacked / name).exists() or name == read_freeze(unpacked).short, name


def test_an_unknown_licence_and_missing_results_are_refused(
    published_four_naps: Path, samples: Path
) -> None:
    with pytest.raises(BundleError, match="not a licence offered here"):
        write_bundle(published_four_naps, "GPL")
    with pytest.raises(BundleError, match="has no results yet"):
        write_bundle(samples / "disc_and_soak")


@pytest.mark.parametrize(
    ("locale", "zone", "threads"), [("C", "Pacific/Auckland", "1"), ("C.UTF-8", "UTC", "2")]
)
def test_numbers_match_elsewhere(
    small_bundle: Path, tmp_path: Path, locale: str, zone: str, threads: str
) -> None:
    """In another process, folder, locale and time zone, with one and with two BLAS threads."""
    environment = os.environ | {
        "LC_ALL": locale, "TZ": zone, "OPENBLAS_NUM_THREADS": threads,
    }  # fmt: skip
    script = (
        "import sys; from pathlib import Path; from kit.bundle import reproduce; "
        "found = reproduce(Path(sys.argv[1])); "
        "print([vars(check) for check in found.checks if not check.agrees], len(found.checks))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(small_bundle)],
        cwd=tmp_path, env=environment, capture_output=True, text=True, check=False,
        encoding="utf-8",
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    differing, _, count = done.stdout.strip().rpartition(" ")
    assert differing == "[]"
    assert int(count) > 10


def test_the_command_offers_the_licences_of_the_bundle(capsys: pytest.CaptureFixture[str]) -> None:
    from kit.cli import main

    with pytest.raises(SystemExit):
        main(["publish", "--help"])
    said = "".join(capsys.readouterr().out.split())  # help is broken into lines anywhere
    assert f"--licence{{{','.join(LICENCES)}}}" in said
    assert f"proposed:{PROPOSED_LICENCE}" in said
