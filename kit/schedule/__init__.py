"""The run order: drawn from a recorded seed, sealed, printed, and mended when things go wrong."""

from kit.schedule.balance_certificate import Certificate, certificate
from kit.schedule.draw import BIT_GENERATOR, draw_schedule
from kit.schedule.files import (
    FREEZE_FILE,
    SCHEDULE_FILE,
    is_sealed,
    make_schedule,
    read_schedule,
    write_schedule,
)
from kit.schedule.freeze import (
    Freeze,
    freeze_trial,
    read_freeze,
    verify_freeze,
)
from kit.schedule.randomisation import randomisation_scheme
from kit.schedule.scheme import Scheme

__all__ = [
    "BIT_GENERATOR",
    "FREEZE_FILE",
    "SCHEDULE_FILE",
    "Certificate",
    "Freeze",
    "Scheme",
    "certificate",
    "draw_schedule",
    "freeze_trial",
    "is_sealed",
    "make_schedule",
    "randomisation_scheme",
    "read_freeze",
    "read_schedule",
    "verify_freeze",
    "write_schedule",
]
