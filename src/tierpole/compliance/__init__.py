"""Where a lot stands under its rulebook, and the chance that it passes."""

from tierpole.compliance.again import p_pass_again
from tierpole.compliance.chance import (
    Composite,
    p_buyer_pass,
    p_over_one,
    p_pass,
    p_sold_pass,
)
from tierpole.compliance.deadlines import (
    Deadline,
    Due,
    change_deadlines,
    disposal_report_deadline,
    harvest_report_deadline,
    licence_deadlines,
    lots_unreported,
    notice_deadline,
    paper_name,
    report_deadlines,
    was_told,
    window_deadline,
)
from tierpole.compliance.failing import (
    FailDollars,
    FailPath,
    FailValue,
    fail_paths,
    p_biomass_pass,
    paths_allowed,
)
from tierpole.compliance.panels import last_verdicts
from tierpole.compliance.plants import plants_to_cut
from tierpole.compliance.release import RETESTS, Bar, lot_bar, remedied_bar
from tierpole.compliance.status import Breach, LotState, LotStatus, lot_status, rule_breaches
from tierpole.compliance.verdict import (
    largest_passing,
    negligent_seasons,
    passes,
    printed,
    revoking_season,
    total_thc,
)
from tierpole.compliance.windows import CutWindow, cut_window, result_delay, sample_days, window_end

__all__ = [
    "RETESTS",
    "Bar",
    "Breach",
    "Composite",
    "CutWindow",
    "Deadline",
    "Due",
    "FailDollars",
    "FailPath",
    "FailValue",
    "LotState",
    "LotStatus",
    "change_deadlines",
    "cut_window",
    "disposal_report_deadline",
    "fail_paths",
    "harvest_report_deadline",
    "largest_passing",
    "last_verdicts",
    "licence_deadlines",
    "lot_bar",
    "lot_status",
    "lots_unreported",
    "negligent_seasons",
    "notice_deadline",
    "p_biomass_pass",
    "p_buyer_pass",
    "p_over_one",
    "p_pass",
    "p_pass_again",
    "p_sold_pass",
    "paper_name",
    "passes",
    "paths_allowed",
    "plants_to_cut",
    "printed",
    "remedied_bar",
    "report_deadlines",
    "result_delay",
    "revoking_season",
    "rule_breaches",
    "sample_days",
    "total_thc",
    "was_told",
    "window_deadline",
    "window_end",
]
