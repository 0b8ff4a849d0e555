"""Every sample trial published, and reproduced by a stranger: other install, place, settings.

    python -m tests.benchmarks.reproduction [--quick] [--json]

The wheel is built from this tree and installed into a fresh virtual environment (from the package
index, so this needs a network). Each sample session is published from the source tree; each bundle
is then reproduced by the command of that environment, from another folder, in a German locale with
a decimal comma where one can be made (else in the C locale) and in the time zone of Auckland, with
one BLAS thread and with two. Then bundles are tampered with in the four ways a cheat would try, and
the hostile corpus of the tests is run. Counted: files that appear beside bundle and report.

--quick: one trial, one BLAS thread.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from kit.bundle import reproduce
from kit.bundle.archive import pack, unpack
from kit.bundle.metadata import CHECKSUMS, PACKAGE, checksums
from kit.cli.path import publish_trial
from tests.benchmarks.reporting import arguments, emit, machine, timed

ROOT = Path(__file__).parents[2]
NAMES = ("four_naps", "disc_and_soak", "seven_rivers")
ZONE = "Pacific/Auckland"
CORPUS = ("tests/bundle/test_archive.py", "tests/bundle/test_reproduce.py")


def fresh_install(home: Path) -> tuple[Path, str]:
    """The command of a new environment with the wheel of this tree, and the name of the wheel."""
    run([sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "-w", str(home), str(ROOT)])
    wheel = next(home.glob("*.whl"))
    with zipfile.ZipFile(wheel) as archive:
        locks = [name for name in archive.namelist() if name.endswith(".lock")]
    if locks:
        raise SystemExit(f"Lock files ride in the wheel: {', '.join(locks)}")
    run([sys.executable, "-m", "venv", str(home / "venv")])
    scripts = home / "venv" / ("Scripts" if os.name == "nt" else "bin")
    install = [str(scripts / "python"), "-m", "pip", "install", "--quiet", str(wheel)]
    run([*install, "-c", str(ROOT / "constraints.txt")])
    return scripts / "fairpull", wheel.name


def run(command: list[str], **settings: Any) -> subprocess.CompletedProcess[str]:
    """Run a command that must succeed."""
    done = subprocess.run(command, capture_output=True, text=True, check=False, **settings)
    if done.returncode:
        raise SystemExit(f"{' '.join(command)}\n{done.stdout}{done.stderr}")
    return done


def german(home: Path) -> dict[str, str]:
    """A locale with a decimal comma made for this run; the C locale where none can be made."""
    made = home / "locales" / "de_DE.UTF-8"
    made.parent.mkdir()
    maker = shutil.which("localedef")
    if maker:
        subprocess.run([maker, "-i", "de_DE", "-f", "UTF-8", str(made)], capture_output=True,
                       check=False)  # fmt: skip
    if made.is_dir():
        return {"LC_ALL": "de_DE.UTF-8", "LOCPATH": str(made.parent)}
    return {"LC_ALL": "C"}


def _unsaid(*_: str) -> None:
    """Progress that nobody reads."""


def publish(home: Path, names: tuple[str, ...]) -> dict[str, Path]:
    """The bundles of the sample sessions, published from this tree."""
    bundles = {}
    for name in names:
        folder = home / "published" / name
        shutil.copytree(ROOT / "sample_sessions" / name, folder)
        bundles[name] = publish_trial(folder, _unsaid).bundle
    return bundles


def elsewhere(
    command: Path, bundle: Path, place: Path, setting: dict[str, str], threads: int
) -> dict[str, Any]:
    """One reproduction by the installed command; the bundle is carried to the other place."""
    place.mkdir(parents=True)
    carried = Path(shutil.copy(bundle, place))
    kept = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    environment = kept | setting | {"TZ": ZONE, "OPENBLAS_NUM_THREADS": str(threads)}
    seconds, _, done = timed(
        lambda: subprocess.run(
            [str(command), "reproduce", carried.name, "--no-browser", "--json"],
            cwd=place, env=environment, capture_output=True, encoding="utf-8", check=False,
        )
    )  # fmt: skip
    said = json.loads(done.stdout)
    checks = said.get("checks", [])
    return {
        "bundle": bundle.name,
        "locale": setting["LC_ALL"],
        "zone": ZONE,
        "threads": threads,
        "exit_code": done.returncode,
        "checks": len(checks),
        "differing": [check["what"] for check in checks if not check["agrees"]],
        "largest_relative_difference": max((check["largest"] for check in checks), default=None),
        "seconds": round(seconds, 1),
        "files_outside": sorted(
            path.name for path in place.iterdir()
            if path.name not in {carried.name, f"{carried.stem}-reproduced"}
        ),
    }  # fmt: skip


def valid_package(bundle: Path, place: Path) -> bool | None:
    """Whether the data package validates by frictionless; None where that is not installed."""
    try:
        from frictionless import Package
    except ImportError:
        return None
    for name, content in unpack(bundle).items():
        path = place / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return bool(Package(str(place / PACKAGE)).validate().valid)


def edit_datum(text: str) -> str:
    """Another beverage mass in the third shot of the journal."""
    lines = text.splitlines(keepends=True)
    lines[2] = re.sub(r'"beverage_g":[\d.]+', '"beverage_g":44.4', lines[2])
    return "".join(lines)


def swap_methods(text: str) -> str:
    """The methods of two study shots exchanged."""
    lines = text.splitlines(keepends=True)
    place = lines[0].rstrip("\r\n").split(",").index("method")
    study = [number for number, line in enumerate(lines) if ",study," in line]
    one = lines[study[0]].split(",")
    number = next(n for n in study if lines[n].split(",")[place] != one[place])
    other = lines[number].split(",")
    one[place], other[place] = other[place], one[place]
    lines[study[0]], lines[number] = ",".join(one), ",".join(other)
    return "".join(lines)


def drop_deviation(text: str) -> str:
    """The last deviation removed."""
    lines = text.splitlines(keepends=True)
    return "".join(lines[:-1]) if len(lines) > 1 else text


def other_seed(text: str) -> str:
    """Another seed claimed for the schedule."""
    sealed = json.loads(text)
    return json.dumps(sealed | {"seed": sealed["seed"] + 1})


CHEATS: dict[str, tuple[str, Callable[[str], str]]] = {
    "edited datum": ("shots.jsonl", edit_datum),
    "edited schedule": ("schedule.csv", swap_methods),
    "removed deviation": ("deviations.csv", drop_deviation),
    "swapped seed": ("freeze.json", other_seed),
}


def cheat(bundle: Path, place: Path) -> dict[str, str]:
    """What is said of each way to tamper, the list of checksums made to fit."""
    said = {}
    entries = unpack(bundle)
    for way, (name, change) in CHEATS.items():
        changed = dict(entries)
        changed[name] = change(entries[name].decode()).encode()
        if changed[name] == entries[name]:
            said[way] = "nothing there to remove"
            continue
        del changed[CHECKSUMS]
        changed[CHECKSUMS] = checksums(changed)
        found = reproduce(pack(changed, place / f"{bundle.stem}-{way.replace(' ', '-')}.zip"))
        differing = [f"{one.what}: {one.detail}" for one in found.checks if not one.agrees]
        said[way] = "NOT FOUND" if not differing else differing[0][:160]
    return said


def hostile_corpus() -> str:
    """The outcome of the tests that feed hostile bundles."""
    command = [sys.executable, "-m", "pytest", "-v", "-p", "no:cacheprovider", *CORPUS]
    command += ["-k", "refused or hostile"]
    return run(command, cwd=ROOT).stdout.strip().splitlines()[-1].strip("= ")


def main() -> None:
    """Run everything and print it."""
    chosen = arguments(__doc__ or "")
    names = NAMES[:1] if chosen.quick else NAMES
    threads = (1,) if chosen.quick else (1, 2)
    with tempfile.TemporaryDirectory(prefix="reproduction-") as where:
        home = Path(where)
        command, wheel = fresh_install(home)
        bundles = publish(home, names)
        setting = german(home)
        runs = [
            elsewhere(command, bundle, home / "elsewhere" / f"{name}-{count}", setting, count)
            for name, bundle in bundles.items()
            for count in threads
        ]
        result: dict[str, Any] = {
            "machine": machine(),
            "wheel": wheel,
            "reproductions": runs,
            "data_package_valid": {
                name: valid_package(bundle, home / "unpacked" / name)
                for name, bundle in bundles.items()
            },
            "bundle_megabytes": {
                name: round(bundle.stat().st_size / 1e6, 2) for name, bundle in bundles.items()
            },
            "tampered": {name: cheat(bundle, home) for name, bundle in bundles.items()},
            "hostile_corpus": hostile_corpus(),
        }
    emit(result, lines_of(result), chosen.json)
    good = all(one["exit_code"] == 0 and not one["files_outside"] for one in runs)
    named = all("NOT FOUND" not in said.values() for said in result["tampered"].values())
    raise SystemExit(0 if good and named else 1)


def lines_of(result: dict[str, Any]) -> list[str]:
    """The result as text."""
    lines = [f"{result['wheel']} in a fresh environment"]
    for one in result["reproductions"]:
        lines.append(
            f"{one['bundle']}: {one['locale']}, {one['zone']}, {one['threads']} BLAS thread(s): "
            f"exit {one['exit_code']}, {one['checks']} checks, {len(one['differing'])} differ, "
            f"largest relative difference {one['largest_relative_difference']:.1e}, "
            f"{one['seconds']} s, files elsewhere: {len(one['files_outside'])}"
        )
    for name, valid in result["data_package_valid"].items():
        size = result["bundle_megabytes"][name]
        lines.append(f"{name}: bundle {size} MB, data package valid: {valid}")
    for name, said in result["tampered"].items():
        lines += [f"{name}, {way}: {words}" for way, words in said.items()]
    return [*lines, f"hostile corpus: {result['hostile_corpus']}"]


if __name__ == "__main__":
    main()
