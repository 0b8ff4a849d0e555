"""Imports run one way, and ``import kit`` stays instant: both are read from the code itself."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

KIT = Path(__file__).parents[1] / "kit"

# Later rows may import earlier ones; inside a row only what ARROWS allows.
ROWS = [
    {"codebook", "errors", "numerals", "files", "shipped"},
    {"extraction"},
    {"trial"},
    {"design", "schedule"},
    {"shotlog", "deviations"},
    {"analysis"},
    {"planning"},
    {"figures", "findings", "cautions"},
    {"report", "bundle", "results"},
    {"widgets", "cli", "launcher", "__main__"},
]
ARROWS = {
    ("codebook", "errors"), ("numerals", "errors"), ("files", "errors"), ("shipped", "errors"),
    ("schedule", "design"), ("deviations", "shotlog"), ("results", "report"), ("bundle", "results"),
    ("bundle", "report"), ("cli", "widgets"), ("cli", "launcher"), ("launcher", "widgets"),
    ("__main__", "cli"),
}  # fmt: skip
ROW_OF = {name: row for row, names in enumerate(ROWS) for name in names}
HEAVY = {"pandas", "numpy", "scipy", "matplotlib", "seaborn", "ipywidgets", "statsmodels"}


def part_of(path: Path) -> str:
    relative = path.relative_to(KIT)
    return relative.parts[0].removesuffix(".py")


def imported_parts(path: Path) -> set[str]:
    """The parts of kit that a module imports, wherever in the file it does so."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
            if node.module == "kit":
                names = [f"kit.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            continue
        found |= {name.split(".")[1] for name in names if name.startswith("kit.")}
    return found & set(ROW_OF)


MODULES = sorted(path for path in KIT.rglob("*.py") if path != KIT / "__init__.py")


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(KIT)))
def test_imports_run_one_way(path: Path) -> None:
    own = part_of(path)
    assert own in ROW_OF, f"{own} has no row: decide where it stands and say so in kit/__init__.py"
    for other in imported_parts(path) - {own}:
        allowed = ROW_OF[other] < ROW_OF[own] or (own, other) in ARROWS
        assert allowed, f"{path.relative_to(KIT)} must not import kit.{other}"


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(KIT)))
def test_modules_stay_readable(path: Path) -> None:
    assert path.read_text(encoding="utf-8").count("\n") <= 350


def test_import_kit_loads_nothing_heavy() -> None:
    code = "import sys, kit; print(*sorted(sys.modules))"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split()
    assert not HEAVY & set(loaded)


def test_help_loads_neither_tables_nor_plots() -> None:
    code = (
        "import sys\nfrom kit.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print(*sorted(sys.modules), file=sys.stderr)"
    )
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stderr.split()
    assert not HEAVY & set(loaded)
