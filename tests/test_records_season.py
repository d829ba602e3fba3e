"""A season out of the books is the season of its scenario, and a look back sees what was known."""

from dataclasses import fields, replace
from datetime import UTC, date, datetime

import pytest

from records_books import same, scenario
from tierpole.errors import InputError
from tierpole.farm import Cut, Hanging, Test
from tierpole.farm.books import Memo
from tierpole.records import (
    Change,
    Wanted,
    WeatherFiles,
    export_scenario,
    history,
    import_season,
    is_as_read,
    nouns,
    read_season,
    seal,
    season_hash,
    seasons,
    verify,
    write,
)
from tierpole.scenario import read_scenario

pytest_plugins = ["records_server"]
DAYS = [date(2026, 3, 1), date(2026, 8, 20), date(2026, 9, 2), date(2026, 12, 31)]


def imported(store, name="demo"):
    path, whole, seen, files = scenario(name)
    import_season(store, whole, files, who="Ann", keep_day=True)
    return path, whole, seen


@pytest.mark.parametrize("name", ["demo", "front_royal"])
def test_one_farm_loaded_both_ways_is_equal(store, name):
    """Every table, array and date, and also what was left to its default."""
    path, _, _ = imported(store, name)
    assert same(read_season(store), read_scenario(path))
    assert verify(store).is_sound


def test_the_equality_of_these_tests_sees_every_table():
    """An equality that overlooks a table would let anything pass."""
    _, whole, _, _ = scenario()
    empty = {"past_weather": whole.past_weather.without_year(1950), "forecast": 1,
             "this_weather": whole.past_weather, "year": 2025, "on": date(2026, 9, 3),
             "stand_in_year": 1950, "learnt": (1,), "gauge_readings": (1,)}  # fmt: skip
    for field in fields(whole):
        if field.name != "source":
            value = getattr(whole, field.name)
            other = empty.get(field.name, value[1:] if isinstance(value, tuple) else None)
            assert not same(replace(whole, **{field.name: other}), whole), field.name
    lot = whole.lots[0]
    told = lot.model_copy()
    told.model_fields_set.add("note")
    assert not same(replace(whole, lots=(told, *whole.lots[1:])), whole)


@pytest.mark.parametrize("on", DAYS)
def test_a_look_back_is_what_the_scenario_saw_then(store, on):
    _, whole, _ = imported(store)
    assert same(read_season(store, on), whole.as_seen_on(on))


@pytest.mark.parametrize(("name", "system"), [("demo", "us"), ("front_royal", "metric")])
def test_a_scenario_written_from_the_books_is_the_same_season(filed, tmp_path, name, system):
    """Read again, it says all the books say, whenever it became known."""
    _, whole, _ = imported(filed, name)
    export_scenario(filed, system=system).write(tmp_path / "again.toml")
    last = date(whole.year, 12, 31)
    assert same(read_scenario(tmp_path / "again.toml", last), whole.as_seen_on(last))
    assert same(read_scenario(tmp_path / "again.toml"), read_season(filed))


def test_weather_files_of_the_farm_go_along(filed, tmp_path):
    """A station and forecast of one's own are kept, and written beside the scenario."""
    _, whole, _, files = scenario()
    own = tmp_path / "own"
    own.mkdir()
    for name in (files.station.name, "stations.csv"):
        (own / name).write_bytes(files.station.with_name(name).read_bytes())
    forecast = own / "forecast.csv"
    forecast.write_text(
        "issued,date,t_min_f,t_max_f,rain_in\n"
        + "".join(f"2026-09-02T06:00,2026-09-{day:02d},52,74,0.1\n" for day in range(2, 9))
    )
    source = WeatherFiles(
        own / files.station.name, files.station.name, forecast, "forecast.csv", 1996
    )
    import_season(filed, whole, source, who="Ann", keep_day=True)
    export_scenario(filed).write(tmp_path / "again.toml")
    again = read_scenario(tmp_path / "again.toml")
    assert len(again.forecast.dates) == 7
    assert same(again, read_season(filed))
    assert same(replace(again, forecast=None), replace(read_season(filed), forecast=None))


def test_what_became_known_later_is_not_seen_earlier(store):
    """A late test, a corrected cut and a withdrawn hanging, each looked at before and after."""
    imported(store)
    at = datetime(2026, 9, 10, 12, tzinfo=UTC)
    test = Test(lot="5 Ridge", kind="pre-test", sampled_on="2026-09-01", reported_on="2026-09-08",
                plants=5, total_cbd="4 %", total_thc="0.16 %")  # fmt: skip
    cut, hanging = nouns(store, Wanted("cut"))[0], nouns(store, Wanted("hanging"))[1]
    changes = [
        Change(test),
        Change(cut.noun.model_copy(update={"sticks": 210}), cut.entry.of, (cut.entry.id,)),
        Change(None, hanging.entry.of, (hanging.entry.id,), why="was lot 2"),
    ]
    write(store, changes, who="Ann", at=at)
    before, after = (read_season(store, date(2026, 9, day)) for day in (9, 10))
    assert [len(one.tests) for one in (read_season(store, date(2026, 9, 7)), before)] == [4, 5]
    assert (before.cuts[0].sticks, after.cuts[0].sticks) == (200, 210)
    assert (len(before.hangings), len(after.hangings)) == (2, 1)


def test_the_books_as_they_stood_at_a_seal(store):
    """What a plan was made from can be read again after the books went on."""
    imported(store)
    noted = seal(store)
    made_from = season_hash(read_season(store))
    late = Cut(lot="2 Barn field", cut_on="2026-09-01", sticks=40)
    write(store, [Change(late)], who="Ann")
    assert season_hash(read_season(store)) != made_from
    assert season_hash(read_season(store, until=noted.seq)) == made_from


def test_a_season_is_read_again_only_for_what_it_is_made_from(store):
    """A memo leaves it as it was read; a cut does not, nor does taking the cut back."""
    imported(store)
    noted = seal(store).seq
    write(store, [Change(Memo(written_on="2026-09-01", text="dew"))], who="Ann")
    assert is_as_read(store, noted)
    late = Change(Cut(lot="2 Barn field", cut_on="2026-09-01", sticks=40))
    for change in (late, Change(None, late.of, (late.id,), why="a slip")):
        noted = seal(store).seq
        write(store, [change], who="Ann")
        assert not is_as_read(store, noted)
        assert is_as_read(store, seal(store).seq)


def test_the_same_noun_is_not_read_twice(store):
    """Books of many readings are looked at after every entry; a noun cannot change meanwhile."""
    imported(store)
    before, after = read_season(store), read_season(store)
    pairs = zip(before.readings, after.readings, strict=True)
    assert before.readings
    assert all(one is other for one, other in pairs)


def test_the_hash_of_a_season_feels_every_table():
    """Whatever a plan is made from is in the hash of its inputs; where it was read from is not."""
    _, whole, seen, _ = scenario()
    same_hash = season_hash(replace(whole, source="elsewhere"))
    assert season_hash(whole) == same_hash
    assert season_hash(seen) != season_hash(whole.as_seen_on(date(2026, 8, 20)))
    assert season_hash(replace(whole, on=date(2026, 9, 3))) != same_hash
    for name in ("lots", "places", "tests", "cuts", "readings", "flowering", "samples", "hangings"):
        assert season_hash(replace(whole, **{name: getattr(whole, name)[1:]})) != same_hash
    colder = replace(whole.past_weather, t_min=whole.past_weather.t_min - 0.1)
    assert season_hash(replace(whole, past_weather=colder)) != same_hash


def test_a_season_is_put_in_once(store):
    imported(store)
    entries_before = seal(store)
    with pytest.raises(InputError) as caught:
        imported(store)
    assert str(caught.value) == (
        "demo.toml: 1 problem\n  season: year must be one the books do not hold yet, got 2026."
    )
    assert seal(store) == entries_before


def test_the_next_season_joins_the_farm_that_is_there(filed):
    """Fields, varieties, places of the same name are the same; last year stays as it was."""
    _, whole, seen = imported(filed)
    place = whole.places[0].model_copy(
        update={"keep_out": 40, "free_from": None, "occupied_by": None}
    )
    nothing = dict.fromkeys(("tests", "samples", "cuts", "hangings", "readings", "flowering"), ())
    lots = tuple(
        lot.model_copy(update={"set_on": lot.set_on.replace(year=2027)}) for lot in whole.lots
    )
    crew = whole.crew.model_copy(update={"sticks_owned": 4000})
    following = replace(
        whole, year=2027, on=date(2027, 3, 1), crew=crew, lots=lots,
        places=(place, *whole.places[1:]), **nothing,
    )  # fmt: skip
    _, _, _, files = scenario()
    import_season(filed, following, files, who="Ann")
    assert seasons(filed) == [2026, 2027]
    got = read_season(filed, date(2027, 3, 1), 2027)
    assert (got.places, got.lots, got.crew, got.fields) == (
        following.places, following.lots, crew, whole.fields,
    )  # fmt: skip
    assert same(read_season(filed, year=2026), seen)
    place_of = nouns(filed, Wanted("place", name=place.name))[0].entry.of
    assert [one.noun for one in history(filed, place_of)] == [whole.places[0], place]


def test_a_season_of_today_is_looked_at_today(filed, monkeypatch):
    _, whole, _, files = scenario()
    import_season(filed, whole, files, who="Ann")

    class Today(date):
        @classmethod
        def today(cls):
            return cls(2026, 10, 5)

    monkeypatch.setattr("tierpole.records.season.date", Today)
    assert read_season(filed).on == date(2026, 10, 5)


def test_a_season_not_yet_whole_says_what_it_lacks(store):
    with pytest.raises(InputError, match="begun: the books hold none"):
        read_season(store)
    imported(store)
    for kind in ("crew", "market"):
        (found,) = nouns(store, Wanted(kind))
        change = Change(None, found.entry.of, (found.entry.id,), known_on=date(2026, 1, 1))
        write(store, [change], who="Ann")
    with pytest.raises(InputError) as caught:
        read_season(store)
    assert str(caught.value) == (
        "season 2026: 2 problems\n"
        "  crew must be written down for 2026, it is missing.\n"
        "  market must be written down for 2026, it is missing."
    )


def test_sticks_taken_down_are_one_hanging_corrected(store):
    """A hanging is closed by a correction that says when; looked at before, it still hangs."""
    imported(store)
    hanging = nouns(store, Wanted("hanging"))[0]
    down = Hanging(**{**hanging.noun.model_dump(exclude_unset=True), "down_on": "2026-09-12"})
    change = Change(down, hanging.entry.of, (hanging.entry.id,), known_on=date(2026, 9, 12))
    write(store, [change], who="Ann")
    for day, hangs in ((11, 2), (12, 1)):
        assert len(read_season(store, date(2026, 9, day)).hanging_now()) == hangs
