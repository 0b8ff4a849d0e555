"""Thousands of spreadsheets through the import: read exactly, or refused at the right row.

``python -m tests.benchmarks.import_fuzz [--quick] [--json]``. Half of the files are as people keep
them, many of these with one thing wrong on purpose; the other half are the same files with bytes
damaged. Counted are those read exactly as meant, those asked about because a number can be read in
two ways, those refused with file, row and column, and the slowest; a traceback, a value that does
not stand in the file, a wrong row or more than 5 s stops the run with the seed that shows it.
``import_fuzz_output.txt`` beside this module holds what a whole run printed.
"""

from __future__ import annotations

import argparse
import json
import random
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.shotlog.invented_spreadsheets import invented_case
from tests.shotlog.test_importing import check_case, check_damaged

SEED = 20260502
FILES = 6_000
QUICK_FILES = 200
LONGEST_S = 5.0


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    result = run(QUICK_FILES if options.quick else FILES)
    if options.json:
        print(json.dumps(result))
    else:
        for name, value in result.items():
            print(f"{name}: {value}")


def run(files: int) -> dict[str, Any]:
    """Put ``files`` spreadsheets through the import, half of them damaged."""
    became = {"read as meant": 0, "asked": 0, "refused": 0}
    became |= {"damaged, refused": 0, "damaged, still read as it stands": 0}
    slowest = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for number in range(files):
            seed = SEED + number
            start = time.perf_counter()
            try:
                outcome = _one(seed, number % 2 == 1, Path(folder))
            except Exception as error:
                raise SystemExit(f"seed {seed}: {error!r}") from error
            became[outcome] += 1
            slowest = max(slowest, time.perf_counter() - start)
    if slowest > LONGEST_S:
        raise SystemExit(f"the slowest file took {slowest:.1f} s")
    return {
        "files": files,
        "first seed": SEED,
        **became,
        "slowest_s": round(slowest, 3),
    }


def _one(seed: int, damaged: bool, folder: Path) -> str:
    luck = random.Random(seed)
    case = invented_case(luck)
    if not damaged:
        return check_case(case, folder)
    content = bytearray(case.content)
    for _ in range(luck.choice([1, 1, 2, 12])):
        content[luck.randrange(len(content))] = luck.randrange(256)
    if luck.random() < 0.2:
        del content[luck.randrange(len(content)) :]
    path = folder / case.name
    path.write_bytes(bytes(content))
    return {"read": "damaged, still read as it stands", "refused": "damaged, refused"}[
        check_damaged(path)
    ]


if __name__ == "__main__":
    main()
