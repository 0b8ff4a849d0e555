"""The model behind 3_analyse, without a browser: when it answers, under which names, rehearsal."""

import shutil
from datetime import datetime
from pathlib import Path

import pytest

from kit.errors import DataError
from kit.results import read_lock
from kit.widgets.analyse.model import AnalyseModel

NOW = datetime.fromisoformat("2026-05-07T10:00:00+01:00")


def quiet(_: str) -> None:
    """Progress that nobody looks at."""


@pytest.fixture
def finished(samples: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "four_naps"
    shutil.copytree(samples / "four_naps", folder)
    (folder / "analysis_lock.json").unlink()
    return folder


def test_letters_until_settled_then_names(finished: Path) -> None:
    model = AnalyseModel(finished)
    assert model.unmet() == []
    with pytest.raises(DataError, match="nothing to settle yet"):
        model.settle(NOW, "P2")
    model.keep(model.compute(quiet))
    assert model.grid()["pair"].str.startswith("Method ").all()
    model.settle(NOW, "P2")
    assert read_lock(finished) is not None
    assert model.results is None  # computed again, under names
    model.keep(model.compute(quiet))
    assert "Harbour against Fjord" in set(model.grid()["pair"])
    assert len(model.claims("ey_pct mean")) == 4 + 3 * 6


def test_a_rehearsal_is_marked_and_never_settled(finished: Path) -> None:
    for name in ("shots.jsonl", "shots.csv", "readings.csv"):
        (finished / name).unlink()
    model = AnalyseModel(finished)
    assert model.can_rehearse()
    results = model.rehearse(3, quiet)
    assert results.trial.title.startswith("Rehearsal: ")
    assert "An invented example: nobody pulled these shots." in results.findings.limits
    model.keep(results)
    with pytest.raises(DataError, match="nothing to settle yet"):
        model.settle(NOW, "P2")
    assert not (finished / "shots.jsonl").exists()
    again = model.rehearse(3, quiet)
    assert again.findings == results.findings
