"""The model behind 3_analyse, without a browser: when it answers, under which names, rehearsal."""

from datetime import datetime
from pathlib import Path

import pytest

from kit.errors import DataError
from kit.results import read_lock
from kit.widgets.analyse.model import AnalyseModel

NOW = datetime.fromisoformat("2026-05-07T10:00:00+01:00")


def quiet(_: str) -> None:
    """Progress that nobody looks at."""


def test_letters_until_settled_then_names(unsettled_four_naps: Path) -> None:
    model = AnalyseModel(unsettled_four_naps)
    assert model.unmet() == []
    with pytest.raises(DataError, match="nothing to settle yet"):
        model.settle(NOW, "P2")
    model.keep(model.compute(quiet))
    assert model.grid()["pair"].str.startswith("Method ").all()
    model.settle(NOW, "P2")
    assert read_lock(unsettled_four_naps) is not None
    assert model.results is None  # computed again, under names
    model.keep(model.compute(quiet))
    assert "Harbour against Fjord" in set(model.grid()["pair"])
    assert len(model.claims("ey_pct mean")) == 4 + 3 * 6


def test_a_rehearsal_is_marked_and_never_settled(unsettled_four_naps: Path) -> None:
    for name in ("shots.jsonl", "shots.csv", "readings.csv"):
        (unsettled_four_naps / name).unlink()
    model = AnalyseModel(unsettled_four_naps)
    assert model.can_rehearse()
    results = model.rehearse(3, quiet)
    assert results.trial.title.startswith("Rehearsal: ")
    assert "An invented example: nobody pulled these shots." in results.findings.limits
    model.keep(results)
    with pytest.raises(DataError, match="nothing to settle yet"):
        model.settle(NOW, "P2")
    assert not (unsettled_four_naps / "shots.jsonl").exists()
    again = model.rehearse(3, quiet)
    assert again.findings == results.findings
