"""Readers and fetchers of outside files: stations, normals, typical years, certificates."""

from tierpole.sources.certificate_text import Candidate, candidates, unit_of
from tierpole.sources.certificates import certificate_of, read_certificates
from tierpole.sources.fetch import GHCN_DAILY, Update, update_station
from tierpole.sources.forecast_file import read_forecast
from tierpole.sources.learning import learnt_text, read_learnt
from tierpole.sources.normals import FreezeNormals, read_freeze_normals
from tierpole.sources.pdf import PdfPage, pdf_pages, pdf_picture
from tierpole.sources.readings_file import BarnReadings, read_readings
from tierpole.sources.stations import read_station
from tierpole.sources.typical_year import TypicalYear, read_typical_year

__all__ = [
    "GHCN_DAILY",
    "BarnReadings",
    "Candidate",
    "FreezeNormals",
    "PdfPage",
    "TypicalYear",
    "Update",
    "candidates",
    "certificate_of",
    "learnt_text",
    "pdf_pages",
    "pdf_picture",
    "read_certificates",
    "read_forecast",
    "read_freeze_normals",
    "read_learnt",
    "read_readings",
    "read_station",
    "read_typical_year",
    "unit_of",
    "update_station",
]
