"""The two joint distributions behind simultaneous tests and intervals, in one place.

All pairs need the studentized range (Tukey-Kramer), comparisons with a control or with the
best the multivariate t (Dunnett, Hsu).
"""

from kit.analysis.multivariate_t import (
    multivariate_t_ppf,
    multivariate_t_sf,
    multivariate_t_upper_ppf,
    multivariate_t_upper_sf,
)
from kit.analysis.studentized_range import studentized_range_ppf, studentized_range_sf

__all__ = [
    "multivariate_t_ppf",
    "multivariate_t_sf",
    "multivariate_t_upper_ppf",
    "multivariate_t_upper_sf",
    "studentized_range_ppf",
    "studentized_range_sf",
]
