"""Reference values of the planning tests (see tests/reference/README.md for their source)."""

import json
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parents[1] / "reference"


def reference(name: str) -> Any:
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
