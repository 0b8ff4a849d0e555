"""What describes a bundle to people and machines: README, data package, research object crate.

Made from the bundle's own entries; no clock and no identifier of this computer enters it, so the
same trial gives the same bytes.
"""

from __future__ import annotations

import json
import platform
from importlib import metadata
from pathlib import PurePosixPath
from typing import Any

import kit
from kit import codebook
from kit.files import sha256_of
from kit.trial import Trial

CHECKSUMS = "checksums.sha256"
ENVIRONMENT = "environment.json"
README = "README.md"
CRATE = "ro-crate-metadata.json"
PACKAGE = "datapackage.json"
LICENCES = {
    "CC-BY-4.0": (
        "Creative Commons Attribution 4.0",
        "https://creativecommons.org/licenses/by/4.0/",
    ),
    "CC0-1.0": ("Creative Commons Zero 1.0", "https://creativecommons.org/publicdomain/zero/1.0/"),
}
# Everything whose version can change a number.
NUMERIC = ("numpy", "scipy", "pandas", "statsmodels", "pingouin")
TABLES = (
    "schedule", "tasting_orders", "tasting_sets", "shots", "readings", "tastings", "deviations",
)  # fmt: skip
# Fixed here, since what a computer knows of file kinds differs from one to the next.
KINDS = {
    ".csv": "text/csv",
    ".gif": "image/gif",
    ".html": "text/html",
    ".json": "application/json",
    ".jsonl": "application/jsonl",
    ".md": "text/markdown",
    ".mp4": "video/mp4",
    ".pdf": "application/pdf",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".toml": "application/toml",
}


def checksums(entries: dict[str, bytes]) -> bytes:
    """One line an entry in the format of the sha256sum tool, sorted by name."""
    lines = [f"{sha256_of(entries[name])}  {name}" for name in sorted(entries)]
    return ("\n".join(lines) + "\n").encode()


def environment() -> bytes:
    """Versions of everything that enters a number."""
    versions = {name: metadata.version(name) for name in NUMERIC}
    found = {"fairpull": kit.__version__, "python": platform.python_version(), **versions}
    return _json(found)


CONTENTS = (
    (("results/report.html",), "the page to read; opens in any browser, needs no network"),
    (("trial.toml",), "everything decided before the first shot"),
    (("schedule.csv", "freeze.json"), "the run order, its seed, and the seal"),
    (("tasting_orders.csv", "tasting_sets.csv"), "which taster, by code, gets which cup"),
    (("amended_schedule.csv", "amendments.csv"), "the order as it was planned again, and why"),
    (("shots.jsonl",), "every entry and correction as made, in order"),
    (("shots.csv", "readings.csv", "tastings.csv"), "the same as tables"),
    (("deviations.csv",), "what was not done as planned, and why"),
    (("analysis_lock.json",), "when a blind analysis was settled, and what it said by checksum"),
    (("results/tables", "results/figures"), "the published numbers and pictures"),
)
"""Files and folders of a bundle that a stranger is told about, where they are there."""


def readme(
    trial: Trial, entries: dict[str, bytes], headline: str, licence: str, seal: str
) -> bytes:
    """What a stranger reads first."""
    name, address = LICENCES[licence]
    invented = "\n**An invented example: nobody pulled these shots.**\n" if trial.invented else ""
    sealed = (
        f"\nPlan and order were sealed. Seal: `{seal}`. Whoever saw it in public can compare:\n\n"
        f"    fairpull verify THIS-FILE.zip {seal}\n"
        if seal
        else ""
    )
    text = f"""# {trial.title}
{invented}
{trial.question}

{headline}
{sealed}
## What is in here

| file | what it holds |
|---|---|
{_contents(entries)}
| `datapackage.json`, `ro-crate-metadata.json` | what every column means, with units; every file |
| `environment.json`, `checksums.sha256` | versions used; a checksum for each file |

## To get the same numbers

Install fairpull {kit.__version__} (Python 3.11 or newer), then

    fairpull reproduce THIS-FILE.zip

It recomputes every number from the shots and compares it with the published one. Nothing in this
package is run as a program. To pull the same trial in your own kitchen:

    fairpull new my-repeat --from THIS-FILE.zip

## Licence of the data

{name}, {address}
"""
    return text.encode()


def _contents(entries: dict[str, bytes]) -> str:
    """The rows of the table of contents."""
    rows = []
    for names, words in CONTENTS:
        present = [
            f"`{name}`"
            for name in names
            if any(entry == name or entry.startswith(f"{name}/") for entry in entries)
        ]
        if present:
            rows.append(f"| {', '.join(present)} | {words} |")
    return "\n".join(rows)


def data_package(trial: Trial, entries: dict[str, bytes], licence: str) -> bytes:
    """A Frictionless data package of the tables (Data Package specification, version 1)."""
    name, address = LICENCES[licence]
    resources = []
    for table in TABLES:
        path = f"{table}.csv"
        if path in entries:
            resources.append(
                {
                    "name": table,
                    "path": path,
                    "profile": "tabular-data-resource",
                    "format": "csv",
                    "mediatype": "text/csv",
                    "encoding": "utf-8",
                    "hash": f"sha256:{sha256_of(entries[path])}",
                    "bytes": len(entries[path]),
                    "schema": _schema(table, entries[path]),
                }
            )
    return _json(
        {
            "profile": "tabular-data-package",
            "name": _slug(trial.title),
            "title": trial.title,
            "description": trial.question,
            "licenses": [{"name": licence, "title": name, "path": address}],
            "resources": resources,
        }
    )


def research_crate(trial: Trial, entries: dict[str, bytes], licence: str, date: str) -> bytes:
    """An RO-Crate 1.1 description of the bundle's files.

    ``date`` is the day of publication as the trial knows it (its last shot), ISO 8601.
    """
    name, address = LICENCES[licence]
    files = sorted([*entries, CHECKSUMS, PACKAGE])
    graph: list[dict[str, Any]] = [
        {
            "@id": CRATE,
            "@type": "CreativeWork",
            "conformsTo": {"@id": "https://w3id.org/ro/crate/1.1"},
            "about": {"@id": "./"},
        },
        {
            "@id": "./",
            "@type": "Dataset",
            "name": trial.title,
            "description": trial.question,
            "datePublished": date,
            "license": {"@id": address},
            "hasPart": [{"@id": path} for path in files],
        },
        {"@id": address, "@type": "CreativeWork", "name": name},
    ]
    graph += [_crate_file(path, entries.get(path)) for path in files]
    return _json({"@context": "https://w3id.org/ro/crate/1.1/context", "@graph": graph})


def _crate_file(path: str, content: bytes | None) -> dict[str, Any]:
    kind = KINDS.get(PurePosixPath(path).suffix, "text/plain")
    entry: dict[str, Any] = {"@id": path, "@type": "File", "name": path, "encodingFormat": kind}
    if content is not None:
        entry["contentSize"] = str(len(content))
    return entry


def _schema(table: str, content: bytes) -> dict[str, Any]:
    """The codebook's schema, with a plain text field for each further column (a factor)."""
    known = {column.name: column.field() for column in codebook.TABLES[table]}
    header = content.decode("utf-8-sig").split("\n", 1)[0].strip().split(",")
    fields = [
        known.get(name, {"name": name, "type": "string", "description": "Level of a factor."})
        for name in header
    ]
    return {"fields": fields, "missingValues": [""]}


def _slug(title: str) -> str:
    letters = "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in title.lower())
    return "-".join(part for part in letters.split("-") if part) or "trial"


def _json(value: Any) -> bytes:
    return (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode()
