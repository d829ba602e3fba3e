"""Every field of a scenario spoilt in every way it can be: the error names the very one.

Slips are generated from the models (tests/scenario_mutations.py) on a farm that writes every field.
"""

import itertools
import random
import re
import tomllib
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import full_farm
import scenario_mutations as mutations
from full_farm import Raw, edited, write_farm, write_scenario
from scenario_mutations import FARM, MISSING, Spoilt, every_field, slips_of, spoil
from tierpole.cli import tierpole
from tierpole.errors import InputError, StoreError, TierpoleError
from tierpole.scenario import assumed, check_scenario, read_scenario
from tierpole.scenario import weather as scenario_weather
from tierpole.scenario.faults import allowed_at
from tierpole.scenario.model import Scenario
from tierpole.scenario.toml import read_toml

FIELDS = {".".join(map(str, path)): (path, info) for path, info, _ in every_field()}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_farm(tmp_path_factory.mktemp("farm")).parent


@pytest.fixture(autouse=True)
def _station_read_once(monkeypatch):
    """The same station stands beside thousands of spoilt farms."""
    monkeypatch.setattr(scenario_weather, "read_station", _read_once)


_read_once = cache(scenario_weather.read_station)


def faults_in(folder, text):
    """Every fault of a text, as it is told, without the line."""
    try:
        read_scenario(write_scenario(folder, text))
    except InputError as error:
        return [re.sub(r", line \d+", "", str(fault)) for fault in error.faults]
    return []


def slips():
    """All slips of all fields."""
    return [slip for path, info in FIELDS.values() for slip in slips_of(path, info)]


def names(told, slip):
    """Whether a fault names place, field, value and what is allowed."""
    allowed = allowed_at(slip.path, Scenario)
    if slip.field == "jurisdiction" and "one of" in told:
        allowed = "one of georgia"
    return told.startswith(f"{slip.place}: {slip.field} must be {allowed}") and slip.told in told


def test_the_farm_writes_every_field(folder):
    """What the slips start from holds every field of the models and has no fault."""
    assert faults_in(folder, full_farm.toml(FARM)) == []
    assert len(FIELDS) > 120
    for path, _ in FIELDS.values():
        inner = FARM
        for part in path:
            inner = inner[part]
    assert list(assumed(read_scenario(write_scenario(folder, full_farm.TEXT)))) == []


@pytest.mark.parametrize("name", FIELDS)
def test_one_slip_is_one_problem(folder, name):
    """Each way to spoil a field gives one fault: table, row, field, value, what is allowed."""
    wrong = list(slips_of(*FIELDS[name]))
    assert len(wrong) >= 5
    for slip in wrong:
        told = faults_in(folder, full_farm.toml(spoil(slip)))
        assert len(told) == 1, f"{slip}: {told}"
        assert names(told[0], slip), f"{slip}: {told[0]}"


@pytest.mark.parametrize("name", [n for n, (_, info) in FIELDS.items() if not info.is_required()])
def test_what_may_be_left_out_may_be_left_out(folder, name):
    """A field with a default is no fault when it is missing, but where another needs it."""
    told = faults_in(folder, full_farm.toml(spoil(Spoilt(FIELDS[name][0], "", MISSING, "", ""))))
    needed = {"market.price": "market: price", "places.0.free_from": "free_from written beside it"}
    assert all(needed.get(name, "-") in fault for fault in told), told
    assert bool(told) == (name in needed)


def test_two_slips_are_two_problems(folder):
    """Of two slips in different fields neither hides the other, also in one row."""
    pairs = _pairs_of_slips(random.Random(2026), 250)
    assert sum(one.path[:2] == two.path[:2] for one, two in pairs) > 10, "some share a row"
    for one, two in pairs:
        told = faults_in(folder, full_farm.toml(spoil(one, two)))
        assert any(names(fault, one) for fault in told), f"{one} and {two}: {told}"
        assert any(names(fault, two) for fault in told), f"{one} and {two}: {told}"
        assert len(told) == 2, f"{one} and {two}: {told}"


def _pairs_of_slips(rng, number):
    """Pairs that do not overwrite each other, nor the name their row is known by."""
    usable = [slip for slip in slips() if slip.path[-1] not in ("name", "lot")]
    pairs = []
    while len(pairs) < number:
        one = rng.choice(usable)
        near = [s for s in usable if s.path[:2] == one.path[:2]]
        two = rng.choice(near if rng.random() < 0.2 else usable)
        short, long = sorted((one.path, two.path), key=len)
        if long[: len(short)] != short:
            pairs.append((one, two))
    return pairs


def test_a_contradiction_is_told_beside_a_slip(folder):
    """A check over several tables still runs on what is sound."""
    text = edited(
        ('area = "0.5 acre"', 'area = "0.5"'),  # a slip in one lot
        ("plants_counted = 840", "plants_counted = 901"),  # a contradiction in another
        ("in_flower = 23", "in_flower = 43"),
        ('jurisdiction = "ohio"', 'jurisdiction = "ohoi"'),
        ('wage = "18 USD/h"', "wage = 18"),
        ("stand_in_year = 1996", "stand_in_year = 2024"),
    )
    told = "\n".join(faults_in(folder, text))
    for field in ("area", "plants_counted", "in_flower", "jurisdiction", "wage", "stand_in_year"):
        assert f": {field} must be" in told
    assert told.count("\n") == 5


CONTRADICTIONS = tomllib.loads(
    (Path(__file__).parent / "data" / "scenario" / "contradictions.toml").read_text("utf-8")
)
HUNG = full_farm.TEXT[full_farm.TEXT.index("[[hangings]]") : full_farm.TEXT.index("[[flowering]]")]


@pytest.mark.parametrize("name", CONTRADICTIONS)
def test_contradictions_in_full(folder, name):
    """Each check over several fields, with its whole text and line."""
    case = CONTRADICTIONS[name]
    wanted = case["told"]
    text = edited(*case["edits"], *([(HUNG, "")] if "nothing_hung" in case else []))
    with pytest.raises(InputError) as caught:
        read_scenario(write_scenario(folder, text))
    head, told = str(caught.value).split("\n  ")
    assert head == "farm.toml: 1 problem"
    assert re.sub(r", line \d+", "", told) == wanted
    (number,) = re.findall(r", line (\d+):", told)
    field = re.findall(r": (\w+)", told)[0]
    key = "hours" if "crew.hours" in told else field
    line = text.splitlines()[int(number) - 1]
    assert re.match(rf"{key} = |\[", line), "the line of the field, or of its table"
    assert line.startswith("[") == wanted.endswith("it is missing.") or "[]" in line


def test_a_season_of_another_year_is_one_slip(folder):
    """When every date written is of another year, the year is blamed and not each date."""
    told = faults_in(folder, edited(("season = 2026", "season = 2025")))
    assert "scenario: season must be the year of the dates written, 2026, got 2025." in told
    assert len(told) <= 3  # the day it is seen on, and the year of the forecast, are their own


def test_nothing_grows(folder):
    """A farm without lots or places is told so, and what named them is not blamed as well."""
    tables = {k: v for k, v in FARM.items() if k not in mutations.Scenario.model_fields}
    assert tables == {}
    told = faults_in(folder, full_farm.toml({**FARM, "lots": [], "tests": []}))
    assert "lots must be at least one [[lots]] table, it is missing." in told


UNKNOWN = {
    ("farm", "latitud"): "Did you mean latitude?",
    ("crew", "tiers"): "It belongs in places.",
    ("sampler", "zzz"): "There are lead, weekdays, closed_on,",
}


@pytest.mark.parametrize(("table", "key"), UNKNOWN)
def test_unknown_keys_are_told_with_what_was_meant(folder, table, key):
    told = faults_in(folder, full_farm.toml(FARM | {table: FARM[table] | {key: 1}}))
    assert len(told) == 1
    head = f"{table}: {key} must be left out, for no key here has that name, got 1. "
    assert told[0].startswith(head + UNKNOWN[table, key])


def test_every_table_refuses_unknown_keys_and_wrong_shapes(folder):
    """A misspelt key, a list for a table, a number for a row: each is one problem."""
    for name, value in FARM.items():
        if not isinstance(value, dict | list):
            continue
        rows = isinstance(value, list)
        extra = [{**value[0], "zz": 1}, *value[1:]] if rows else {**value, "zz": 1}
        (told,) = faults_in(folder, full_farm.toml({**FARM, name: extra}))
        assert re.match(rf"{name}(\[1\]( \".*\")?)?: zz must be left out", told)
        wrong = value[0] if rows else [value]
        shape = f"tables headed [[{name}]], one for each" if rows else f"one table headed [{name}]"
        told = faults_in(folder, full_farm.toml({**FARM, name: wrong}))
        assert any(f"scenario: {name} must be {shape}, got" in fault for fault in told)
        told = faults_in(folder, full_farm.toml({**FARM, name: Raw("5")}))
        assert f"scenario: {name} must be {shape}, got 5." in told


@pytest.mark.parametrize("name", [n for n, i in Scenario.model_fields.items() if i.is_required()])
def test_a_missing_table_is_one_problem(folder, name):
    told = faults_in(folder, full_farm.toml({k: v for k, v in FARM.items() if k != name}))
    assert len(told) == 1
    assert told[0].startswith(f"scenario: {name} must be ")
    assert told[0].endswith("it is missing.")


def test_a_misspelt_table_is_one_problem(folder):
    tables = {("crw" if name == "crew" else name): value for name, value in FARM.items()}
    (told,) = faults_in(folder, full_farm.toml(tables))
    assert told.startswith("scenario: crw must be left out")
    assert told.endswith("got a table of 14 keys. Did you mean crew?")


# --- text that is not TOML ------------------------------------------------------------------------

BROKEN = {
    "a heading not closed": ("[farm]", "[farm", "[farm", "valid TOML (expected ']'"),
    "two statements": ('name = "Two Lots"', 'name = "Two" "Lots"', 'name = "Two"', "valid TOML ("),
    "a quote not closed": ('note = "Flat."', 'note = "Flat.', 'note = "Flat.', "quote at either"),
    "a stray word": ("[crew]\n", "[crew]\nhands\n", "hands", "valid TOML (expected '='"),
    "a key twice": ('note = "Flat."', 'name = "Flat."', 'name = "Flat."', "a key not written"),
    "a table twice": ("[laboratory]", "[market]", "[market]", "a table not headed before"),
    "one bracket": ("[[lots]]", "[lots]", "[[lots]]", "Rows of a list have two brackets"),
    "a list not closed": (
        '  { starting = 2026-09-14, hours = "24 h/day" },\n]\n', "",
        "workdays", 'Perhaps the list "hours" of line 123 lacks its closing bracket.',
    ),
    "a backslash": ('note = "Flat."', 'note = "a\\qb"', 'note = "a', "a text without a backslash"),
}  # fmt: skip


@pytest.mark.parametrize("name", BROKEN)
def test_what_breaks_a_file_is_told_by_its_line(folder, name):
    """The line, what stands there, and what would do."""
    old, new, at, wanted = BROKEN[name]
    text = edited((old, new))
    last = max(n for n, line in enumerate(text.splitlines(), 1) if line.startswith(at))
    (told,) = faults_in(folder, text)
    assert told.startswith(f"line {last} must be ")
    assert wanted in told
    assert f"got {at}" in told


def test_several_broken_lines_are_told_at_once(folder):
    """One broken line does not hide another, nor a bare value."""
    text = edited(
        ("[crew]\n", "[crew]\nhands\n"),
        ('note = "Flat."', "note = Flat and wide"),
        ('note = "Rich."', 'note = "Rich.'),
    )
    told = faults_in(folder, text)
    wanted = [n for n, line in enumerate(text.splitlines(), 1) if re.match(BAD_LINES, line)]
    assert [fault.split(" must")[0] for fault in told] == [f"line {n}" for n in wanted]
    assert len(wanted) == 3


BAD_LINES = r'hands|note = Flat and wide|note = "Rich.$'


def test_bare_values_keep_their_place_against_tomllib():
    """Read on past what TOML cannot read, the rest is as the standard reader reads it."""
    text = 'a = 1\nb = 2.5 acre # c\nc = [x, "y"]\n[d]\ne = {f = 2026-02-30, g = "h"}\n'
    read = read_toml(text)
    assert read.faults == ()
    assert read.tables == {
        "a": 1, "b": "2.5 acre", "c": ["x", "y"], "d": {"e": {"f": "2026-02-30", "g": "h"}},
    }  # fmt: skip
    assert read_toml(full_farm.TEXT).tables == tomllib.loads(full_farm.TEXT)


@pytest.mark.parametrize(
    ("content", "wanted"),
    [
        (b"\xff\xfe[\x00f\x00", "text in UTF-8 (byte 1 is not), got 'something else'. Save it as"),
        (bytes(range(256)), "text in UTF-8"),
        (b"a = " + b"[" * 100_000, "readable TOML"),
        (b"a = 1" + b"0" * 5000, "readable TOML"),
        (b"", "scenario: season must be"),
        (b"\x00\x01\x02", "line 1 must be valid TOML"),
        (b'"a[b]" = 1\n"" = 2\n"lots[3]" = 3', "a[b] must be left out"),
        (b"[lots.a.b]\nc = 1", "lots must be tables headed [[lots]]"),
        (b"lots = [[1], [2]]\ncuts = [1]", "cuts[1] must be a table of its own keys, got 1."),
    ],
    ids=["UTF-16", "bytes", "deep", "long", "empty", "control", "keys", "dots", "lists"],
)
def test_files_that_are_no_scenario(tmp_path, content, wanted):
    """Binary, another encoding, or nothing: a sentence, not a traceback."""
    path = tmp_path / "farm.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_scenario(path)
    assert wanted in str(caught.value)
    assert str(caught.value).startswith("farm.toml: ")


def test_windows_files_are_read(folder):
    """A byte order mark and carriage returns are no fault."""
    path = folder / "farm.toml"
    path.write_bytes(b"\xef\xbb\xbf" + full_farm.TEXT.replace("\n", "\r\n").encode())
    assert read_scenario(path).farm.name == "Two Lots"


def test_unreadable_files(tmp_path):
    with pytest.raises(StoreError, match=r"none.toml: cannot be read \(No such file"):
        read_scenario(tmp_path / "none.toml")
    with pytest.raises(StoreError, match="Is a directory"):
        read_scenario(tmp_path)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_no_edit_ends_in_a_traceback(folder, data):
    """Characters lost, doubled or mistyped anywhere: a season or the project's own error."""
    text = list(full_farm.TEXT)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text) - 1))
        text[at] = data.draw(
            st.sampled_from(["", '"', "[", "]", "\n", "=", "9", "-", "é", "{", " "])
        )
    told = None
    try:
        read_scenario(write_scenario(folder, "".join(text)))
    except TierpoleError as error:
        told = str(error)
    assert told is None or told.startswith("farm.toml: ")


def test_faults_of_the_station_name_its_rows(tmp_path):
    """What is wrong in the station's own file is told beside what is wrong in the scenario."""
    path = write_farm(tmp_path, edited(('lead = "5 days"', 'lead = "5"')))
    station = tmp_path / "station.csv"
    text = station.read_text(encoding="utf-8").splitlines(keepends=True)
    text[2] = text[2].replace("TMIN", "TMIN,x").replace("TMAX", "TMAX,x")
    station.write_text("".join(text), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_scenario(path)
    told = [str(fault) for fault in caught.value.faults]
    assert any(
        fault.startswith("station.csv, row 3: VALUE must be a whole number") for fault in told
    )
    assert any("sampler, line 171: lead must be" in fault for fault in told)


# --- on the command line --------------------------------------------------------------------------


def test_check_lists_the_same_on_the_command_line(folder):
    """`tierpole check` leaves with status 2 and tells the fault, for slips of every table."""
    rng = random.Random(7)
    by_table = itertools.groupby(slips(), key=lambda slip: slip.path[0])
    for _, group in by_table:
        slip = rng.choice(list(group))
        path = write_scenario(folder, full_farm.toml(spoil(slip)))
        result = CliRunner().invoke(tierpole, ["check", str(path)])
        assert result.exit_code == 2, slip
        head, fault = result.stderr.strip().split("\n  ")
        assert head == "farm.toml: 1 problem"
        assert names(re.sub(r", line \d+", "", fault), slip), f"{slip}: {fault}"
        assert result.stdout == ""


def test_remarks_in_full(folder):
    """What looks odd and may be meant is told, and is no fault."""
    twice = '[[cuts]]\nlot = "1 River"\ncut_on = 2026-08-26\nsticks = 120\n'
    text = edited(
        ("on = 2026-09-10", "on = 2026-08-30"),
        (twice, f"{twice}\n{twice}"),
        ('total_cbd = "3.72 %"', 'total_cbd = "0.10 %"'),
        ('longitude = "-83.93 deg"', 'longitude = "83.93 deg"'),
        ('variety = "Late"', 'variety = "Quick"'),
        ('plant_yield = "0.34 lb"', 'plant_yield = "1.2 lb"'),
        ('volume = "12000 ft3"', 'volume = "12000 m3"'),
    )
    station = "White Oak Creek basin, Ohio"
    remarks = check_scenario(write_scenario(folder, text)).remarks
    assert remarks == (
        "tests: 2 rows became known only after 2026-08-30 and will not be used.",
        "readings: 1 row became known only after 2026-08-30 and will not be used.",
        "air_readings: 3 rows became known only after 2026-08-30 and will not be used.",
        "weather: the forecast was issued after 2026-08-30 and will not be used.",
        'cuts[2] "1 River" says the same as cuts[1].',
        'tests[1] "1 River": total_thc is more than total_cbd; are the two swapped?',
        'varieties[2] "Late" is not named by any lot.',
        'market: flat_price is not used while form is "point".',
        'lots[1] "1 River": plant_yield makes 3,600 lb an acre; 1,200 to 2,000 is usual.',
        'places[1] "Shed": volume makes 1,695 ft3 of air a stick; 20 to 100 is usual.',
        (
            f"The station, {station}, lies at 38.86, -83.93 deg, the farm at 38.86, 83.93; is its "
            "weather the farm's?"
        ),
    )


def test_few_seasons_are_remarked(tmp_path):
    """A station with a handful of years is told to be too short."""
    path = write_farm(tmp_path)
    station = tmp_path / "station.csv"
    rows = station.read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [row for row in rows if not row.split(",")[1].isdigit() or row.split(",")[1] < "1999"]
    station.write_text("".join(kept), encoding="utf-8")
    (_, remark) = check_scenario(path).remarks
    assert remark == (
        "The station has 6 well-recorded seasons besides this one. With so few, the bands are too "
        "narrow; thirty are better."
    )
