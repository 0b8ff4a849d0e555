"""Which pictures a trial gets follows from what was measured."""

from dataclasses import replace

import numpy as np
import pandas as pd

from kit.analysis.result import OutcomeResult
from kit.results import Results, pictures_of
from kit.results.pictures import _cups_with_extraction, _score_pictures, _setting
from kit.trial import Outcome


def test_a_trial_with_a_schedule_shows_its_balance_and_its_other_analyses(
    four_naps_results: Results,
) -> None:
    names = [picture.name for picture in pictures_of(four_naps_results)]
    assert names[-1] == "balance"
    assert "sensitivity_ey_pct" in names
    without = [picture.name for picture in pictures_of(replace(four_naps_results, schedule=None))]
    assert without == names[:-1]


def tasted(results: Results, shots: list[int]) -> Results:
    """Two tasters score the cups of these shots."""
    rows = [
        {"attribute": "liking", "shot": shot, "taster": taster, "score": 4.0 + (shot + place) % 3}
        for shot in shots
        for place, taster in enumerate(("T1", "T2"))
    ]
    return replace(results, tastings=pd.DataFrame(rows))


def test_a_cup_is_one_point_however_many_tasted_it(four_naps_results: Results) -> None:
    study = four_naps_results.analysis.study
    shots = study["shot"].astype(int).tolist()[:8]
    cups = _cups_with_extraction(tasted(four_naps_results, shots), "liking")
    assert sorted(cups["shot"]) == sorted(shots)
    first = cups.set_index("shot")["score"][shots[0]]
    assert first == np.mean([4.0 + shots[0] % 3, 4.0 + (shots[0] + 1) % 3])


def test_extraction_against_taste_needs_cups_that_were_measured(
    four_naps_results: Results,
) -> None:
    study = four_naps_results.analysis.study
    groups = pd.DataFrame(
        {"method": four_naps_results.trial.method_names, "n": 4, "estimate": 5.0, "lower": 4.0,
         "upper": 6.0}
    )  # fmt: skip
    pairs = pd.DataFrame(
        {"a": ["Fjord"], "b": ["Thaw"], "estimate": [0.1], "lower": [-1.0], "upper": [1.0],
         "verdict": ["cannot tell"]}
    )  # fmt: skip
    outcome = Outcome(measure="liking", aspect="score", smallest_difference=1.0)
    primary = four_naps_results.analysis.primary
    assert isinstance(primary, OutcomeResult)
    result = replace(primary, outcome=outcome, groups=groups, differences=pairs)

    def drawn(shots: list[int]) -> list[str]:
        results = tasted(four_naps_results, shots)
        tastings = results.tastings.merge(study[["shot", "method"]], on="shot")
        results = replace(results, tastings=tastings)
        return [one.name for one in _score_pictures(results, result, _setting(results))]

    every = study["shot"].astype(int).tolist()
    assert "taste_liking_against_ey_pct" in drawn(every)
    assert "taste_liking_between_ey_pct" not in drawn(every)
    assert "taste_liking_against_ey_pct" not in drawn(every[:5])
    assert "taste_liking_between_ey_pct" in drawn(every[:5])
