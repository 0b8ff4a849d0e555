"""Judging a page by the accessibility rules of axe-core, where a copy of it is at hand."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

RULES = "['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']"


def axe_source() -> str:
    """axe-core from the npm registry, where somebody has installed it; else the test is skipped.

    Looked for at FAIRPULL_AXE (a file), in ./node_modules, and among npm's global packages.
    """
    places = [Path(os.environ["FAIRPULL_AXE"])] if "FAIRPULL_AXE" in os.environ else []
    places.append(Path("node_modules/axe-core/axe.min.js"))
    npm = shutil.which("npm")
    if npm:
        root = subprocess.run([npm, "root", "-g"], capture_output=True, text=True, check=False)
        places.append(Path(root.stdout.strip()) / "axe-core" / "axe.min.js")
    for place in places:
        if place.is_file():
            return place.read_text(encoding="utf-8")
    pytest.skip("axe-core is not installed (npm install axe-core, or FAIRPULL_AXE=its file)")


def serious_findings(page: Any, part: str) -> list[tuple[str, ...]]:
    """What axe finds serious or critical in a part of a page: rule, impact, element, reason."""
    page.evaluate(axe_source())
    found = page.evaluate(f"axe.run('{part}', {{runOnly: {RULES}}})")
    assert len(found["passes"]) > 8, "axe looked at next to nothing"
    return [
        (one["id"], one["impact"], one["nodes"][0]["html"][:160], one["nodes"][0]["failureSummary"])
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
    ]
