"""The trial: the question and everything decided before the first shot."""

from kit.trial.files import TRIAL_FILE, read_trial, trial_from_toml, trial_to_toml, write_trial
from kit.trial.model import (
    Attribute,
    Blinding,
    Budget,
    Coffee,
    Factor,
    Layout,
    Method,
    Noise,
    Outcome,
    Recipe,
    Rules,
    Tasting,
    Trial,
)

__all__ = [
    "TRIAL_FILE",
    "Attribute",
    "Blinding",
    "Budget",
    "Coffee",
    "Factor",
    "Layout",
    "Method",
    "Noise",
    "Outcome",
    "Recipe",
    "Rules",
    "Tasting",
    "Trial",
    "read_trial",
    "trial_from_toml",
    "trial_to_toml",
    "write_trial",
]
