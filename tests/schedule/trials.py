"""Small trials to draw schedules for."""

from pathlib import Path

from kit.trial import Layout, Method, Trial, read_trial

SAMPLES = Path(__file__).parents[2] / "sample_sessions"


def sample(name: str) -> Trial:
    return read_trial(SAMPLES / name)


def trial_with(methods: int, sessions: int, blocks: int, design: str, **layout: object) -> Trial:
    """A trial of so many methods; the first is the control."""
    named = tuple(Method(name=f"m{i:02d}", control=i == 0) for i in range(methods))
    settings = {"design": design, "sessions": sessions, "blocks_per_session": blocks, **layout}
    return sample("four_naps").model_copy(
        update={"methods": named, "layout": Layout.model_validate(settings)}
    )


def plain(methods: int, sessions: int, blocks: int, design: str, **layout: object) -> Trial:
    """The same without reference, warm-up and spare shots."""
    none = {
        "reference_shots_per_session": 0,
        "warm_up_shots_per_session": 0,
        "spares_per_session": 0,
    }
    return trial_with(methods, sessions, blocks, design, **{**none, **layout})
