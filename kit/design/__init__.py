"""Fair layouts: who meets whom in which block, and how well that tells methods apart."""

from kit.design.bibd import balanced_design, balanced_parameters
from kit.design.blockdesign import BlockDesign
from kit.design.carryover import even_followers, even_places, part_of_williams, williams_rows
from kit.design.chooser import Alternative, Recommendation, Situation, recommend_design
from kit.design.efficiency import (
    canonical_efficiency_factors,
    efficiency_bound,
    efficiency_factor,
)
from kit.design.factorial import confounded_blocks, factorial_contrasts, given_up_effects
from kit.design.incomplete import best_incomplete_blocks

__all__ = [
    "Alternative",
    "BlockDesign",
    "Recommendation",
    "Situation",
    "balanced_design",
    "balanced_parameters",
    "best_incomplete_blocks",
    "canonical_efficiency_factors",
    "confounded_blocks",
    "efficiency_bound",
    "efficiency_factor",
    "even_followers",
    "even_places",
    "factorial_contrasts",
    "given_up_effects",
    "part_of_williams",
    "recommend_design",
    "williams_rows",
]
