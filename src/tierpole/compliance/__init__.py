"""Where a lot stands under its rulebook, and the chance that it passes."""

from tierpole.compliance.again import p_pass_again
from tierpole.compliance.chance import (
    Composite,
    p_buyer_pass,
    p_over_one,
    p_pass,
    p_sold_pass,
)
from tierpole.compliance.failing import (
    FailDollars,
    FailPath,
    FailValue,
    fail_paths,
    p_biomass_pass,
    paths_allowed,
)
from tierpole.compliance.plants import plants_to_cut
from tierpole.compliance.status import Breach, LotState, LotStatus, lot_status, rule_breaches
from tierpole.compliance.verdict import (
    is_over_negligence_line,
    largest_passing,
    passes,
    printed,
    total_thc,
)
from tierpole.compliance.windows import CutWindow, cut_window, result_delay, sample_days, window_end

__all__ = [
    "Breach",
    "Composite",
    "CutWindow",
    "FailDollars",
    "FailPath",
    "FailValue",
    "LotState",
    "LotStatus",
    "cut_window",
    "fail_paths",
    "is_over_negligence_line",
    "largest_passing",
    "lot_status",
    "p_biomass_pass",
    "p_buyer_pass",
    "p_over_one",
    "p_pass",
    "p_pass_again",
    "p_sold_pass",
    "passes",
    "paths_allowed",
    "plants_to_cut",
    "printed",
    "result_delay",
    "rule_breaches",
    "sample_days",
    "total_thc",
    "window_end",
]
