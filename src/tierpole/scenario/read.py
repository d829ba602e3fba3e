"""A farm and its season from one commented TOML file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from tierpole.errors import Fault, InputError, StoreError
from tierpole.scenario.beside import Beside, read_beside
from tierpole.scenario.faults import faults_of
from tierpole.scenario.loggers import read_loggers, with_logged
from tierpole.scenario.model import SHARED, Scenario, WeatherFiles
from tierpole.scenario.salvage import Unsound, salvage, unsound_in
from tierpole.scenario.toml import Written, line_of, lines_of, read_toml
from tierpole.scenario.weather import Weather, located, read_weather
from tierpole.season import Draft, Season, faults, remarks
from tierpole.season.draft import place


@dataclass(frozen=True)
class Checked:
    """A scenario without fault: its season as seen on its day, and what is worth a second look."""

    season: Season
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class Whole:
    """All that a scenario says, whenever it became known, and the files it names."""

    season: Season
    files: WeatherFiles
    station: Path
    forecast: Path | None
    learnt: tuple[Path, ...]


def read_whole(path: str | Path) -> Whole:
    """A scenario with all its facts, to be put into a farm's books; raises as `read_scenario`."""
    path = Path(path)
    season, scenario = _read(path, None)
    files = scenario.weather
    forecast = located(files.forecast, path) if files.forecast else None
    learnt = tuple(path.parent / name for name in scenario.files.learnt)
    return Whole(season, files, located(files.station, path), forecast, learnt)


def read_scenario(path: str | Path, on: date | None = None) -> Season:
    """The season written in a TOML file, as seen on its own date or on `on`.

    Raises `InputError` listing every fault, `StoreError` when a file cannot be read.
    """
    whole, _ = _read(Path(path), on)
    return whole.as_seen_on(whole.on)


def check_scenario(path: str | Path, on: date | None = None) -> Checked:
    """The season of a file as `read_scenario` gives it, with what is worth a second look."""
    whole, _ = _read(Path(path), on)
    return Checked(whole.as_seen_on(whole.on), tuple(remarks(whole)))


def demo_path(name: str = "demo") -> Path:
    """The scenario file of a demo that comes with the package."""
    return Path(str(resources.files("tierpole") / "data" / "scenarios" / f"{name}.toml"))


def _read(path: Path, on: date | None) -> tuple[Season, Scenario]:
    """Everything a file says, whenever it became known, and the file as it was read."""
    written = read_toml(_text(path))
    if written.faults:
        raise InputError(path.name, written.faults)
    scenario, found, unsound = _validated(written.tables)
    weather, more = _weather(scenario, unsound, path)
    beside, wrong = _beside(scenario, unsound, path)
    logged, astray = read_loggers(scenario, unsound, path)
    season = with_logged(_season(scenario, weather, beside, path, on), logged)
    found += [*more, *wrong, *astray]
    found += [_asked(fault, on) for fault in faults(Draft(season, unsound))]
    found = [_where_from(fault, len(scenario.tests), beside) for fault in found]
    if found:
        raise InputError(path.name, _in_order(found, written))
    return season, scenario


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise StoreError(f"{path}: cannot be read ({error.strerror}).") from None
    except UnicodeDecodeError as error:
        allowed = f"text in UTF-8 (byte {error.start + 1:,} is not)"
        fault = Fault("the file", "", "something else", allowed, "Save it as plain text, UTF-8.")
        raise InputError(path.name, [fault]) from None


def _validated(written: dict[str, Any]) -> tuple[Scenario, list[Fault], Unsound]:
    """The scenario, or as much of it as is sound, with its faults and where they are."""
    scenario = error = None
    try:
        scenario = Scenario.model_validate(written, context={"written": True})
    except ValidationError as caught:
        error = caught
    found = faults_of(error, Scenario, written)
    if scenario is None or found.paths:
        scenario = salvage(written, found.paths)
    return scenario, list(found.faults), unsound_in(found.paths)


def _weather(
    scenario: Scenario, unsound: Unsound, path: Path
) -> tuple[Weather | None, list[Fault]]:
    if {"weather", "season"} & {table for table, _ in unsound}:
        return None, []
    return read_weather(scenario.weather, scenario.season, path)


def _beside(scenario: Scenario, unsound: Unsound, path: Path) -> tuple[Beside, list[Fault]]:
    if "files" in {table for table, _ in unsound}:
        return Beside(), []
    return read_beside(scenario.files, path)


def _season(
    scenario: Scenario, weather: Weather | None, beside: Beside, path: Path, on: date | None
) -> Season:
    """The season of a scenario; without weather it is only good to be checked."""
    known: dict[str, Any] = {name: getattr(scenario, name) for name in SHARED}
    known["tests"] = (*known["tests"], *beside.tests)
    known["learnt"] = beside.learnt
    known |= vars(weather) if weather else {"past_weather": None, "this_weather": None}
    known |= {"on": on} if on else {}
    files: WeatherFiles | None = scenario.weather  # None when its table was not sound
    year = files.stand_in_year if files else None
    return Season(year=scenario.season, stand_in_year=year, source=path.name, **known)


def _asked(fault: Fault, on: date | None) -> Fault:
    """A day that was asked for is not the file's fault."""
    is_day = on is not None and (fault.place, fault.field) == ("scenario", "on")
    return replace(fault, place="asked for") if is_day else fault


def _where_from(fault: Fault, written: int, beside: Beside) -> Fault:
    """A certificate's fault stands in its own file, not in the scenario's `written` tests."""
    for number, origin in enumerate(beside.origins, start=written):
        if fault.place.startswith(place("tests", number)):
            return replace(fault, place=origin)
    return fault


def _in_order(found: Iterable[Fault], written: Written) -> list[Fault]:
    """Faults in the order of the file, each with its line."""
    lines = lines_of(written.lines)
    placed = [(line_of(fault, lines), fault) for fault in found]
    placed.sort(key=lambda pair: pair[0] or 0)
    return [
        fault if line is None else replace(fault, place=f"{fault.place}, line {line}")
        for line, fault in placed
    ]
