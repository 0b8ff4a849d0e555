"""From a trial folder to its results: tables, pictures, findings, page; from the files alone."""

from kit.results.compute import Results, compute_blind_results, compute_results
from kit.results.lock import lock_analysis, names_hidden, read_lock
from kit.results.pictures import (
    check_pictures,
    outcome_pictures,
    pictures_of,
    raw_pictures,
    stills,
)
from kit.results.tables import result_tables
from kit.results.write import (
    RESULTS_FOLDER,
    write_figures,
    write_stills,
    write_tables_and_findings,
)

__all__ = [
    "RESULTS_FOLDER",
    "Results",
    "check_pictures",
    "compute_blind_results",
    "compute_results",
    "lock_analysis",
    "names_hidden",
    "outcome_pictures",
    "pictures_of",
    "raw_pictures",
    "read_lock",
    "result_tables",
    "stills",
    "write_figures",
    "write_stills",
    "write_tables_and_findings",
]
