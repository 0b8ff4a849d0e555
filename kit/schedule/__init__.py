"""The run order: drawn from a recorded seed, sealed, printed, and mended when things go wrong."""

from kit.schedule.amended import (
    current_schedule,
    read_amendments,
    write_rescue,
)
from kit.schedule.balance_certificate import Certificate, certificate
from kit.schedule.card import ShotCard, shot_card
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
from kit.schedule.rescue import Rescue, end_session_early, make_up_lost, open_new_bag
from kit.schedule.scheme import Scheme
from kit.schedule.sheets import blinding_words
from kit.schedule.standing import Mishap
from kit.schedule.tasting import discrimination_sets, tasting_orders, write_tasting

__all__ = [
    "BIT_GENERATOR",
    "FREEZE_FILE",
    "SCHEDULE_FILE",
    "Certificate",
    "Freeze",
    "Mishap",
    "Rescue",
    "Scheme",
    "ShotCard",
    "blinding_words",
    "certificate",
    "current_schedule",
    "discrimination_sets",
    "draw_schedule",
    "end_session_early",
    "freeze_trial",
    "is_sealed",
    "make_schedule",
    "make_up_lost",
    "open_new_bag",
    "randomisation_scheme",
    "read_amendments",
    "read_freeze",
    "read_schedule",
    "shot_card",
    "tasting_orders",
    "verify_freeze",
    "write_rescue",
    "write_schedule",
    "write_tasting",
]
