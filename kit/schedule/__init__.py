"""The run order: drawn from a recorded seed, sealed, printed, and mended when things go wrong."""

from kit.schedule.draw import BIT_GENERATOR, draw_schedule
from kit.schedule.files import SCHEDULE_FILE, read_schedule, write_schedule
from kit.schedule.freeze import (
    FREEZE_FILE,
    Freeze,
    freeze_trial,
    is_sealed,
    read_freeze,
    verify_freeze,
)
from kit.schedule.randomisation import randomisation_scheme
from kit.schedule.scheme import Scheme

__all__ = [
    "BIT_GENERATOR",
    "FREEZE_FILE",
    "SCHEDULE_FILE",
    "Freeze",
    "Scheme",
    "draw_schedule",
    "freeze_trial",
    "is_sealed",
    "randomisation_scheme",
    "read_freeze",
    "read_schedule",
    "verify_freeze",
    "write_schedule",
]
