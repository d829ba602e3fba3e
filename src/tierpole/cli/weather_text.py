"""What a station file holds, as plain text: gaps, doubtful values, seasons on file, freezes."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np

from tierpole.charts import words
from tierpole.cli.layout import USUAL, columns, wrap
from tierpole.sources import (
    FreezeNormals,
    TypicalYear,
    read_freeze_normals,
    read_station,
    read_typical_year,
)
from tierpole.units import System, show
from tierpole.weather import (
    DailyRecord,
    clean,
    fill_gaps,
    freeze_date,
    freeze_days,
    freeze_quantile,
    season_pool,
)

SHOWN = 10  # doubtful values listed before the rest is counted
LEVELS = (36, 32, 28)  # °F: tender growth, freeze, killing freeze
IN_TEN = (0.1, 0.5, 0.9)
CURING = (8, 9, 10, 11)  # months in which hemp hangs
DAMP = 0.9  # humidity at which hung flower takes up water
NEAR = 7  # days within which two records are said to agree
YEAR = 2025  # any common year, to tell dates in


def weather_text(
    path: Path,
    system: System = "us",
    width: int = USUAL,
    normals: Path | None = None,
    typical: Path | None = None,
) -> str:
    """Everything worth knowing of a station before it is trusted with a season."""
    record, findings = clean(read_station(path))
    filled, count = fill_gaps(record)
    pool = season_pool(filled)
    seasons = f"{words.counted(len(pool), 'whole season')} to draw from"
    lines = [
        f"{words.counted(len(record), 'day')}; gaps filled: {count}",
        f"{words.counted(record.flagged, 'value')} left out that the publisher had marked",
        f"{words.counted(len(findings), 'doubtful value')} set aside{':' if findings else ''}",
        *(f"  {finding}" for finding in findings[:SHOWN]),
        *([f"  and {len(findings) - SHOWN:,} more"] if len(findings) > SHOWN else []),
        f"{seasons}, {pool.years[0]} to {pool.years[-1]}",
        "By these dates 1, 5 and 9 autumns in 10 have had a night as cold as:",
    ]
    heads = ("", "1 in 10", "5 in 10", "9 in 10")
    return "\n".join([
        wrap(f"{record.station.name} ({record.station.code}), {_span(record)}", width),
        *(wrap(line, width, "  ", "  ") for line in lines),
        *columns(heads, list(_freezes(filled, system)), width, "    "),
        *(_beside(filled, read_freeze_normals(normals), system, width) if normals else ()),
        *(_damp(filled, read_typical_year(typical), system, width) if typical else ()),
    ])  # fmt: skip


def _span(record: DailyRecord) -> str:
    first, last = (when.astype("datetime64[D]").item() for when in record.dates[[0, -1]])
    return f"{words.short_day(first)} {first.year} to {words.short_day(last)} {last.year}"


def _freezes(record: DailyRecord, system: System) -> Iterator[tuple[str, ...]]:
    for fahrenheit in LEVELS:
        celsius = (fahrenheit - 32) / 1.8
        freezes = freeze_days(record, celsius, "fall")
        dates = (freeze_date(float(freeze_quantile(freezes, share)), YEAR) for share in IN_TEN)
        told = ("never" if when is None else words.short_day(_date(when)) for when in dates)
        yield (show(celsius, "a temperature", system, 2), *told)


def _beside(
    record: DailyRecord, normals: FreezeNormals, system: System, width: int
) -> Iterator[str]:
    """The same dates as NOAA published them, an outside check, and how far off they lie."""
    rows, apart = [], [0]
    for fahrenheit in LEVELS:
        celsius = (fahrenheit - 32) / 1.8
        freezes = freeze_days(record, celsius, "fall")
        cells = []
        for share in IN_TEN:
            printed = normals.dates.get(("fall", fahrenheit, share))
            ours = freeze_date(float(freeze_quantile(freezes, share)), YEAR)
            theirs = date(YEAR, *printed) if printed else None
            cells.append(words.short_day(theirs) if theirs else "none")
            if ours is not None and theirs is not None:
                apart.append(abs((_date(ours) - theirs).days))
        rows.append((show(celsius, "a temperature", system, 2), *cells))
    yield wrap(f"The normals of {normals.name or normals.station} say:", width, "  ", "  ")
    yield from columns(("", "1 in 10", "5 in 10", "9 in 10"), rows, width, "    ")
    most = max(apart)
    told = "they agree" if most <= NEAR else "which of the two lies more like your fields?"
    yield wrap(f"At most {words.counted(most, 'day')} apart: {told}", width, "  ", "  ")


def _damp(record: DailyRecord, typical: TypicalYear, system: System, width: int) -> Iterator[str]:
    """How damp the months of curing are by the hours of a typical year, beside the record."""
    month = _month(np.arange(f"{YEAR}-01-01", f"{YEAR + 1}-01-01", dtype="datetime64[D]"))
    by_hour, by_day = np.repeat(month, 24), _month(record.dates)
    middle = (record.t_min + record.t_max) / 2
    rows = []
    for number in CURING:
        own = by_hour == number
        warm = float(typical.temperature[own].mean()), float(middle[by_day == number].mean())
        rows.append((
            words.MONTHS[number - 1],
            *(show(celsius, "a temperature", system, 2) for celsius in warm),
            words.percent(float(typical.humidity[own].mean())),
            f"{24 * float((typical.humidity[own] >= DAMP).mean()):.1f} h",
        ))  # fmt: skip
    yield wrap(f"A typical year by the hour at {typical.station.name} says:", width, "  ", "  ")
    heads = ("", "there", "this record", "humidity", f"{words.percent(DAMP)} or more, a day")
    yield from columns(heads, rows, width, "    ")


def _month(days: np.ndarray) -> np.ndarray:
    return days.astype("datetime64[M]").astype(int) % 12 + 1


def _date(when: np.datetime64) -> date:
    return when.astype(date)
