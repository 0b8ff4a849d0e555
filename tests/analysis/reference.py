"""Reading the reference values kept in ``tests/reference``."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd

FOLDER = Path(__file__).parents[1] / "reference"


def values(name: str) -> dict[str, Any]:
    """The reference values in ``tests/reference/<name>.json``."""
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def data(case: dict[str, Any]) -> pd.DataFrame:
    """The data that a case of reference values was made from."""
    return pd.read_csv(FOLDER / case["data"], skipinitialspace=True)
