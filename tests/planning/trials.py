"""Trials for the planning tests, made from the default numbers."""

from kit.trial import Trial


def default_trial(**layout) -> Trial:
    """Five methods, shot SD 0.45, complete blocks, ten shots each: the default."""
    return make_trial(5, sessions=2, blocks_per_session=5, **layout)


def make_trial(methods: int, family: str = "all pairs", **layout) -> Trial:
    return Trial.model_validate(
        {
            "title": "Made for a test",
            "question": "Which method extracts most?",
            "invented": True,
            "coffee": {"name": "Invented"},
            "recipe": {"dose_g": 18.0, "beverage_g": 36.0},
            "methods": [{"name": f"m{i + 1}", "control": i == 0} for i in range(methods)],
            "outcomes": [
                {
                    "measure": "ey_pct",
                    "aspect": "mean",
                    "role": "primary",
                    "smallest_difference": 0.5,
                    "family": family,
                },
                {"measure": "ey_pct", "aspect": "spread", "smallest_difference": 2.0},
                {"measure": "faults", "aspect": "rate", "smallest_difference": 0.3},
            ],
            "layout": layout,
        }
    )


def split_plot_trial(sessions: int = 6, blocks: int = 4, block_sd: float = 0.25) -> Trial:
    """Two temperatures in whole plots, two soaks in blocks of two inside them."""
    trial = make_trial(2, sessions=sessions, blocks_per_session=blocks)
    values = trial.model_dump(mode="json", exclude_none=True)
    values["factors"] = [
        {"name": "soak", "levels": ["0 s", "8 s"]},
        {"name": "temperature", "levels": ["90", "94"], "hard_to_change": True},
    ]
    for method, level in zip(values["methods"], ["0 s", "8 s"], strict=True):
        method["settings"] = {"soak": level}
    values["outcomes"][0]["family"] = "factorial"
    values["layout"] |= {"design": "split-plot", "whole_plots_per_session": 2}
    values["noise"]["block_sd"] = block_sd
    return Trial.model_validate(values)
