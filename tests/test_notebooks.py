"""Every shipped notebook runs headless on a trial, as "restart and run all" would run it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

from kit.shipped import sample_session, shipped_notebooks

NOTEBOOKS = sorted(shipped_notebooks().glob("*.ipynb"))
ROOT = Path(__file__).parents[1]
SECONDS = 120


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_is_shipped_clean(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    assert notebook.metadata["kit"] == {"autorun": True}
    assert notebook.metadata["kernelspec"]["name"] == "python3"
    kinds = [cell.cell_type for cell in notebook.cells]
    assert kinds == ["markdown", "code"]
    code = notebook.cells[1]
    assert code.outputs == []
    assert code.execution_count is None
    assert code.metadata["jupyter"] == {"source_hidden": True}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs_on_a_trial(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    folder = tmp_path / "trial"
    folder.mkdir()
    shutil.copy(sample_session("four_naps") / "trial.toml", folder)
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(
        notebook, timeout=SECONDS, resources={"metadata": {"path": str(folder)}}
    )
    client.execute()
    outputs = notebook.cells[1].outputs
    assert [output.output_type for output in outputs] == ["display_data"]
    assert "application/vnd.jupyter.widget-view+json" in outputs[0].data
    state = json.dumps(notebook.metadata["widgets"])
    assert "Four naps" in state
    assert "mistake in the program" not in state
    assert not (folder / "diagnostics").exists()
