"""A farm's books: every entry kept, every change a new one, in a file or a database server."""

from tierpole.records.audit import Seal, Verdict, seal, verify
from tierpole.records.balance import Balance, Step, mass_balance
from tierpole.records.contents import content_key, read_content, write_with
from tierpole.records.copies import backup, holds_books, restore
from tierpole.records.days import days_to_come, last_day
from tierpole.records.exporting import Exported, export_scenario
from tierpole.records.journal import Change, Receipt, write
from tierpole.records.kinds import IN_SEASON, KINDS, Kind, kind_named, kind_of, setting_id
from tierpole.records.opening import open_store
from tierpole.records.package import export_package
from tierpole.records.reading import (
    NOW,
    AsOf,
    Conflict,
    Entry,
    Stored,
    Wanted,
    conflicts,
    counts_then,
    entries,
    entries_named,
    entry_numbered,
    history,
    in_force_then,
    journal,
    known_then,
    latest,
    news,
    nouns,
    standing,
)
from tierpole.records.schemas import json_schema
from tierpole.records.season import import_season, is_as_read, read_season, season_hash, seasons
from tierpole.records.store import Store
from tierpole.records.unpack import import_package
from tierpole.records.weather import WeatherFiles, check_weather, read_kept_station

__all__ = [
    "IN_SEASON",
    "KINDS",
    "NOW",
    "AsOf",
    "Balance",
    "Change",
    "Conflict",
    "Entry",
    "Exported",
    "Kind",
    "Receipt",
    "Seal",
    "Step",
    "Store",
    "Stored",
    "Verdict",
    "Wanted",
    "WeatherFiles",
    "backup",
    "check_weather",
    "conflicts",
    "content_key",
    "counts_then",
    "days_to_come",
    "entries",
    "entries_named",
    "entry_numbered",
    "export_package",
    "export_scenario",
    "history",
    "holds_books",
    "import_package",
    "import_season",
    "in_force_then",
    "is_as_read",
    "journal",
    "json_schema",
    "kind_named",
    "kind_of",
    "known_then",
    "last_day",
    "latest",
    "mass_balance",
    "news",
    "nouns",
    "open_store",
    "read_content",
    "read_kept_station",
    "read_season",
    "restore",
    "seal",
    "season_hash",
    "seasons",
    "setting_id",
    "standing",
    "verify",
    "write",
    "write_with",
]
