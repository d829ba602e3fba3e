"""Papers, days to keep and tables: what leaves the farm, or hangs on the barn's door."""

from tierpole.documents.calendar import calendar, reason, title, waiting
from tierpole.documents.deadlines import deadlines
from tierpole.documents.failed import Failed, failed_lots
from tierpole.documents.filed import NOTHING_FILED, Bill, Filed, Proof, Warned
from tierpole.documents.labels import scan_path
from tierpole.documents.library import PAPERS, make_paper
from tierpole.documents.parts import Order
from tierpole.documents.sheets import Sheet, csv_text, sheets, workbook
from tierpole.documents.typeset import LANGUAGES, Language, Paper, file_name

__all__ = [
    "LANGUAGES",
    "NOTHING_FILED",
    "PAPERS",
    "Bill",
    "Failed",
    "Filed",
    "Language",
    "Order",
    "Paper",
    "Proof",
    "Sheet",
    "Warned",
    "calendar",
    "csv_text",
    "deadlines",
    "failed_lots",
    "file_name",
    "make_paper",
    "reason",
    "scan_path",
    "sheets",
    "title",
    "waiting",
    "workbook",
]
