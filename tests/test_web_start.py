"""The guided start: what each step writes, what is assumed, what is refused, where it goes on."""

from __future__ import annotations

import re
import shutil
import zipfile
from datetime import date, datetime

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from full_farm import TEXT, write_farm
from start_pages import LEAST, begin, begun_pages, hidden, send, type_the_least
from tierpole.barn.geometry import place_capacity
from tierpole.cli import commands, tierpole
from tierpole.office.sources import keep_scenario, season_of
from tierpole.office.start import LAST, STEPS, Beginning, is_to_begin
from tierpole.office.start.assumed import COEFFICIENTS
from tierpole.office.start.known import BOOKS_OF, season_to_begin
from tierpole.records import backup, entries, export_package, open_store, read_season, verify
from tierpole.rulebook import jurisdictions
from tierpole.scenario import read_scenario
from tierpole.units import ACRE, FOOT, POUND
from weather_data import DEMO

pytest_plugins = ["records_server"]


@pytest.fixture
def pages(tmp_path):
    with begun_pages(tmp_path) as client:
        yield client


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    """A start that was begun, with a variety to choose."""
    with begun_pages(tmp_path_factory.mktemp("begun")) as client:
        begin(client)
        send(client, "varieties", LEAST["varieties"])
        yield client


def season(client):
    return season_of(client.beginning.office.store)


def count(client):
    """How many entries the new books hold, without kept plans."""
    with open_store(client.beginning.where) as store:
        return sum(entry.kind != "plan" for entry in entries(store, limit=10_000))


def faults(answer):
    assert answer.status_code == 422
    return re.sub("<[^>]+>", "", " ".join(re.findall(r'<p class="fault".*?</p>', answer.text)))


# --- the way through ------------------------------------------------------------------------------


def test_nothing_there_leads_to_the_start(pages):
    for path in ("/", "/season", "/enter", "/books", "/health"):
        assert pages.get(path).headers["location"] == "/start"
    assert "There is no farm here yet" in pages.get("/start").text
    assert pages.get("/start/place").headers["location"] == "/start"
    assert begin(pages).headers["location"] == "/start/place"
    assert pages.get("/start").headers["location"] == "/start/place"
    assert "Step 1 of 8" in pages.get("/start/place").text
    assert pages.get("/start/nothing").status_code == 404


def test_the_least_answers_make_a_plan(pages):
    """Fewer than twenty answers, none of them a guess of ours, end on a plan of what was typed."""
    assert sum(len(row) for row in LEAST.values() if row) == 16
    assert type_the_least(pages).headers["location"] == "/"
    found = season(pages)
    assert (found.farm.name, found.farm.jurisdiction) == ("Sandy Fork", "ohio")
    assert found.farm.latitude == 38.858  # of the station in the same state
    (lot,), (place,), (variety,) = found.lots, found.places, found.varieties
    assert (lot.name, lot.field, lot.variety, lot.area) == ("Home", "Home", "Early one", 2.5 * ACRE)
    assert (lot.plants_set, lot.set_on) == (4355, date(found.year, 6, 1))
    assert (place.runs, place.tiers, place.run_length) == (10, 5, 64 * FOOT)
    assert variety.critical_day_length == 15.0
    assert found.crew.hours[0].hours == pytest.approx(36 * 3600)
    assert found.crew.sticks_owned == place_capacity(place)
    assert found.market.price == pytest.approx(45 / POUND)
    pages.beginning.office.wait()
    assert pages.get("/").status_code == 200
    assert pages.get("/start").headers["location"] == "/"
    assert verify(pages.beginning.office.store).is_sound


def test_all_skipped_is_said_to_be_assumed(pages):
    """A plan without one answer stands on assumptions, and This week names each."""
    begin(pages)
    for step in STEPS:
        assert send(pages, step.key, do="skip").headers["location"].startswith("/start/")
    last = pages.get(f"/start/{LAST}").text
    assert "7 parts of it are assumed" in last
    assert send(pages, LAST).headers["location"] == "/"
    pages.beginning.office.wait()
    week = pages.get("/").text
    for title in ("Farm: My farm", "Lot: Field 1", "Place: Barn", "Crew", "Market", "Costs"):
        assert title in week
    (noun,) = re.findall(r'href="(/books/noun/[^"]+/correct)">Place: Barn', week)
    assert pages.get(noun).status_code == 200


def test_making_the_plan_at_once_assumes_the_rest(pages):
    begin(pages)
    send(pages, "place", LEAST["place"])
    assert send(pages, LAST).headers["location"] == "/"
    assert season(pages).farm.name == "Sandy Fork"


@pytest.mark.parametrize("done", range(len(STEPS)))
def test_a_start_broken_off_goes_on_where_it_stood(tmp_path, done):
    """Whoever opens the books again finds the first step nobody went through."""
    with begun_pages(tmp_path) as client:
        begin(client)
        for step in STEPS[:done]:
            row = LEAST[step.key]
            send(client, step.key, do="skip") if row is None else send(client, step.key, row)
        shutil.copytree(tmp_path, tmp_path / "as-killed")  # as the disk is, nothing closed
    where = str(tmp_path / "as-killed" / "new.db")
    assert is_to_begin(where) == (done < len(STEPS))
    again = Beginning(where)
    assert again.guide is not None
    assert again.guide.stands_at() == STEPS[done].key


def test_books_begin_on_a_server_too(server, tmp_path):
    """In an empty database: by the steps, or from a backup; broken off, it goes on there."""
    where = server.new()
    assert is_to_begin(where)
    with begun_pages(where) as client:
        begin(client)
        send(client, "place", LEAST["place"])
    assert is_to_begin(where)
    with begun_pages(where) as client:
        assert client.beginning.guide.stands_at() == STEPS[1].key
        type_the_least(client)
        assert season(client).farm.name == "Sandy Fork"
        backup(client.beginning.office.store, tmp_path / "copy.db")
    assert not is_to_begin(where)
    with begun_pages(server.new()) as client:
        assert hand_in(client, tmp_path / "copy.db").headers["location"] == "/"
        assert season(client).farm.name == "Sandy Fork"


def test_books_that_are_whole_are_no_start(tmp_path):
    keep_scenario("demo", str(tmp_path / "farm.db"), "Ann")
    assert not is_to_begin(str(tmp_path / "farm.db"))
    assert not is_to_begin(str(tmp_path / "none.toml"))
    assert is_to_begin(str(tmp_path / "none.db"))


# --- what a step writes ---------------------------------------------------------------------------


def test_going_back_corrects_and_a_resend_does_not_double(pages):
    begin(pages)
    told = hidden(pages, "/start/varieties") | {"name-0": "First", "kind-0": "early", "do": "save"}
    assert {pages.post("/start/varieties", data=told).status_code for _ in range(3)} == {303}
    assert count(pages) == 1
    told["cbd_to_thc-0"] = "28"  # sent again from the same page, with something more
    pages.post("/start/varieties", data=told)
    send(pages, "varieties", {"name": "First", "kind": "late"})
    with open_store(pages.beginning.where) as store:
        written = entries(store, limit=99)
    assert [entry.revision for entry in written] == [1, 2, 3]
    assert written[-1].noun.critical_day_length == 14.0


def test_a_drawn_field_is_planted_inside_its_ends(pages):
    """660 by 330 ft are five acres; a tenth kept free leaves four and a half."""
    begin(pages)
    send(pages, "place", LEAST["place"])
    send(pages, "varieties", LEAST["varieties"])
    drawn = {"name": "Home", "corners": "0, 0\n660, 0\n660, 330\n0, 330", "kept_free": "10 %",
             "variety": "Early one", "is_bottom": "yes"}  # fmt: skip
    looked = send(pages, "fields", drawn, do="look")
    assert "4.5 acre planted, of 5 acre inside the corners" in looked.text
    assert "<polygon" in looked.text
    assert send(pages, "fields", drawn).status_code == 303
    again = pages.get("/start/fields").text
    assert "0, 0\n660, 0\n660, 330\n0, 330" in again
    assert 'value="10\xa0%"' in again
    send(pages, "lots", do="skip")
    send(pages, LAST)
    (lot,), (field,) = season(pages).lots, season(pages).fields
    assert lot.area / ACRE == pytest.approx(4.5)
    assert field.night_offset < 0


def test_split_lots_stay_when_fields_are_looked_at_again(pages):
    begin(pages)
    send(pages, "varieties", LEAST["varieties"])
    send(pages, "fields", LEAST["fields"])
    year = season_to_begin(datetime.now().astimezone().date())
    lot = {"field": "Home", "variety": "Early one", "set_on": f"{year}-06-09"}
    two = ({"name": "Home", "area": "1 acre"} | lot, {"name": "Lane", "area": "1.5 acre"} | lot)
    assert send(pages, "lots", *two).status_code == 303
    told = hidden(pages, "/start/fields")
    shown = dict(re.findall(r'name="(\w+-0)"[^>]*value="([^"]*)"', pages.get("/start/fields").text))
    kept = {"variety-0": "Early one", "is_bottom-0": "no", "do": "save"}
    assert pages.post("/start/fields", data=told | shown | kept).status_code == 303
    send(pages, LAST)
    assert {one.name: round(one.area / ACRE, 3) for one in season(pages).lots} == {
        "Home": 1.0, "Lane": 1.5
    }  # fmt: skip


def test_a_field_taken_out_takes_its_lot_along(pages):
    begin(pages)
    send(pages, "varieties", LEAST["varieties"])
    send(pages, "fields", LEAST["fields"], LEAST["fields"] | {"name": "Bottom"})
    send(pages, "fields", dict.fromkeys(LEAST["fields"], ""), LEAST["fields"] | {"name": "Bottom"})
    send(pages, LAST)
    assert [lot.name for lot in season(pages).lots] == ["Bottom"]
    assert [field.name for field in season(pages).fields] == ["Bottom"]


def test_room_against_killebrew_and_myrick(pages):
    """1897, Tobacco Leaf: a barn 24 ft square, 6 across and 5 high at 8 in, holds 1,080 sticks."""
    begin(pages)
    barn = {"name": "Old", "kind": "air-cured barn", "long": "24 ft", "wide": "24",
            "high": "22 1/2 ft", "tiers": "5", "rails": "48 in",
            "stick_spacing": "8 in"}  # fmt: skip
    looked = send(pages, "places", barn, do="look").text
    assert "holds 1,080 sticks in 6 rows of sticks, 5 high" in looked
    assert send(pages, "places", barn).status_code == 303
    shown = pages.get("/start/places").text
    for text in ("24 ft", "22.5 ft", "4 ft", "0.666667 ft"):
        assert f'value="{text}"' in shown


def test_usual_values_limits():
    """Assumed values lie inside what they are said to lie between; spacing is 5 by 5 ft."""
    for row in COEFFICIENTS:
        assert row.low is None or row.low <= row.value <= row.high, row.name
    assert COEFFICIENTS["density_clone"] * ACRE == pytest.approx(43_560 / 25, abs=1)


def test_the_states_offered_are_those_with_rules():
    assert set(BOOKS_OF) == set(jurisdictions())
    assert season_to_begin(date(2026, 10, 31)) == 2026
    assert season_to_begin(date(2026, 11, 1)) == 2027


# --- what is refused ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("step", "row", "told"),
    [
        ("place", {"name": ""}, "What the farm is called must be answered."),
        ("place", {"latitude": "95 N"}, "Latitude must be an angle from 0 deg to 65 deg"),
        ("place", {"latitude": "39"}, "Latitude and longitude go together."),
        ("place", {"jurisdiction": "atlantis"}, "Choose a state out of the list."),
        ("varieties", {"kind": "blue"}, "Choose a class out of the list."),
        ("varieties", {"cbd_to_thc": "500"}, "must be a number from 1.0 to 100.0."),
        ("fields", {"area": ""}, "Write the planted acres, or the corners of the field."),
        ("fields", {"area": "2 miles"}, "Planted area must be an area from 0.05 acre to 500 acre"),
        ("fields", {"corners": "0, 0; 9, 9"}, "The corners must be three corners or more."),
        ("fields", {"variety": "None such"}, "Choose a variety out of the list."),
        ("places", {"wide": "3 ft"}, "The width must take 1 to 60 rows, rail to rail."),
        ("places", {"occupied_by": "tobacco"}, "Write until when something else hangs there."),
        ("places", {"tiers": "40"}, "Tiers you hang must be a whole number from 1 to 12."),
        ("crew", {"people": "none"}, "People at harvest must be a whole number from 1 to 200."),
        ("prices", {"form": "point", "price": ""}, "Write the price this way of selling has."),
    ],
)
def test_a_slip_is_told_beside_what_was_typed(begun, step, row, told):
    """Nothing is written, what was typed stays, the fault stands under its question."""
    pages = begun
    before = count(pages)
    typed = (LEAST[step] or {}) | row
    answer = send(pages, step, typed)
    assert told in faults(answer)
    for key, text in typed.items():
        if key in ("name", "long") and text:
            assert f'value="{text}"' in answer.text
    assert count(pages) == before


def test_a_form_from_elsewhere_is_refused(pages):
    assert pages.post("/start", data={"do": "begin"}).status_code == 403
    begin(pages)
    assert pages.post("/start/place", data={"do": "skip", "token": "x"}).status_code == 403
    other = pages.post("/start", data={"do": "begin"}, headers={"origin": "http://evil.example"})
    assert other.status_code == 403


@given(
    step=st.sampled_from([step.key for step in STEPS]),
    texts=st.lists(
        st.text(max_size=40)
        | st.sampled_from(["1", "1e999", "2 1/2 ft", "9" * 4000 + "/1", "nan", "early", "ohio"]),
        min_size=14, max_size=14,
    ),
    do=st.sampled_from(["save", "look", "more", "", "skip"]),
)  # fmt: skip
@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_answer_is_taken_or_refused(pages, step, texts, do):
    """Random answers never break a page."""
    begin(pages)
    asks = next(one for one in STEPS if one.key == step).asks
    row = dict(zip((ask.key for ask in asks), texts, strict=False))
    assert send(pages, step, row, do=do).status_code in (200, 303, 422)
    assert pages.get(f"/start/{step}").status_code in (200, 303)


# --- a farm from a file ---------------------------------------------------------------------------


def hand_in(client, *files):
    names = ("file", "beside", "beside-2")
    parts = {key: (path.name, path.read_bytes()) for key, path in zip(names, files, strict=False)}
    return client.post("/start", data=hidden(client, "/start") | {"do": "take"}, files=parts)


def test_a_scenario_with_its_files_is_taken_in(pages, tmp_path):
    farm = write_farm(tmp_path)
    beside = [path for path in sorted(tmp_path.iterdir()) if path.suffix in (".csv", ".json")]
    assert len(beside) >= 2
    taken = hand_in(pages, farm)
    assert taken.status_code == 422  # its station does not lie beside it
    assert "a file beside the scenario that opens" in taken.text
    assert not (tmp_path / "new.db").exists()


def test_a_scenario_comes_in_with_its_station_file(pages, tmp_path):
    """The scenario, its station and the list that says where it lies, in one go; it is planned
    from that record."""
    text = re.sub(r"\[\[loggers\]\]\n(.+\n)+|\[files\]\n(.+\n)+|forecast = .+\n", "", TEXT)
    farm = write_farm(tmp_path, text)
    taken = hand_in(pages, farm, tmp_path / "station.csv", tmp_path / "stations.csv")
    assert (taken.status_code, taken.headers["location"]) == (303, "/")
    found = season(pages)
    assert [lot.name for lot in found.lots] == ["1 River", "2 Bank"]
    there = read_scenario(farm)
    assert found.past_weather.station == there.past_weather.station
    np.testing.assert_array_equal(found.past_weather.t_max, there.past_weather.t_max)
    np.testing.assert_array_equal(found.this_weather.rain[:100], there.this_weather.rain[:100])


def test_a_far_station_says_what_to_do(pages):
    """Beyond fifty miles the page opens where a nearer one's file is handed in, and says how."""
    begin(pages)
    near = send(pages, "place", LEAST["place"], do="look").text
    far = send(pages, "place", LEAST["place"] | {"latitude": "45", "longitude": "-93"}, do="look")
    assert "<details><summary>A nearer station" in near
    assert "<details open><summary>A nearer station" in far.text
    assert "That is far" in far.text
    assert "folder <b>access</b>" in far.text
    assert '<input type="file" id="file" name="file"' in far.text


def test_a_scenario_of_built_in_weather_is_taken_in(pages, tmp_path):
    from tierpole.scenario import demo_path

    (tmp_path / "mine.toml").write_bytes(demo_path().read_bytes())
    assert hand_in(pages, tmp_path / "mine.toml").headers["location"] == "/"
    assert len(season(pages).lots) == 8


def test_a_package_and_a_backup_are_taken_in(tmp_path):
    keep_scenario("demo", str(tmp_path / "farm.db"), "Ann", keep_day=True)
    with open_store(tmp_path / "farm.db") as store:
        export_package(store, tmp_path / "farm.zip")
        backup(store, tmp_path / "copy.db")
        there = read_season(store)
    for number, name in enumerate(("farm.zip", "copy.db")):
        with begun_pages(str(tmp_path / f"new-{number}.db")) as client:
            assert hand_in(client, tmp_path / name).headers["location"] == "/"
            assert season(client).lots == there.lots


def test_the_demo_is_marked_as_invented(pages):
    answer = pages.post("/start", data=hidden(pages, "/start") | {"do": "demo"})
    assert answer.headers["location"] == "/"
    assert season(pages).farm.is_invented
    assert "An invented farm." in pages.get("/enter").text


def spoilt(tmp_path):
    """Files that must not come in: (name, bytes)."""
    from tierpole.scenario import demo_path

    demo = demo_path().read_text(encoding="utf-8")
    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("datapackage.json", b" " * 110_000_000)
    built_in = "built-in:mopex_03238500"
    yield "bomb.zip", bomb.read_bytes(), "a package of a farm"
    yield "photo.toml", b"\x89PNG\r\n\x1a\n\0\0", "a scenario (.toml)"
    yield "cut.db", DEMO.read_bytes(), ""
    yield "torn.db", b"SQLite format 3\0" + b"x" * 5000, ""
    yield "up.toml", demo.replace(built_in, "../../etc/passwd").encode(), "without a folder"
    yield "root.toml", demo.replace(built_in, "/etc/passwd").encode(), "without a folder"
    yield "two.toml", demo.replace('"2.5 acre"', "2.5").encode(), "with its unit in quotes"
    yield "../../x.toml", b"", ""


def test_known_bad_files_are_refused(pages, tmp_path):
    """Each is told of, with place, field, value and what is allowed; nothing is made."""
    for name, data, told in spoilt(tmp_path):
        form = hidden(pages, "/start") | {"do": "take"}
        answer = pages.post("/start", data=form, files={"file": (name, data)})
        assert answer.status_code == 422, name
        assert told in answer.text, name
        assert not (tmp_path / "new.db").exists(), name
        assert pages.get("/start").status_code == 200
    assert pages.post("/start", data=hidden(pages, "/start") | {"do": "take"}).status_code == 422


def test_faults_of_a_file_stand_in_a_table(pages, tmp_path):
    from tierpole.scenario import demo_path

    text = demo_path().read_text(encoding="utf-8").replace('"2.5 acre"', '"2.5 miles"')
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    answer = hand_in(pages, tmp_path / "mine.toml").text
    cells = re.findall(r"<t(?:h scope=.\w+.|d)>(.*?)</t[hd]>", answer)
    assert cells[:4] == ["Where", "Field", "What it says", "What it may be"]
    assert "2 Barn field" in cells[4]
    assert cells[5:7] == ["area", "&#39;2.5 miles&#39;"]


# --- a station of one's own -----------------------------------------------------------------------


def test_a_station_is_handed_in(pages, tmp_path):
    """A record that says where its station lies is taken; what is none is told."""
    begin(pages)
    rows = ["ID,DATE,ELEMENT,VALUE,MFLAG,QFLAG,SFLAG,OBSTIME"]
    bad = send(pages, "place", LEAST["place"], files={"file": ("x.csv", "\n".join(rows))})
    assert bad.status_code == 422
    assert count(pages) == 0
    values = ",".join(f"{name},{name}_ATTRIBUTES" for name in ("TMAX", "TMIN", "PRCP"))
    wide = [f"STATION,NAME,LATITUDE,LONGITUDE,ELEVATION,DATE,{values}"]
    day = date(2015, 1, 1)
    while day < date(2020, 1, 1):
        wide.append(f'"USX1","Own ridge, OH",39.5,-82.5,250.0,{day},220,",,S",100,",,S",10,",,S"')
        day = date.fromordinal(day.toordinal() + 1)
    own = {"file": ("../own.csv", "\n".join(wide))}
    taken = send(pages, "place", LEAST["place"], files=own)
    assert taken.status_code == 303, re.findall("<li>.*</li>", taken.text)
    assert "Own ridge" in pages.get("/start/place").text
    send(pages, LAST)
    assert season(pages).farm.latitude == 39.5
    assert season(pages).past_weather.station.name == "Own ridge, OH"


# --- the command ----------------------------------------------------------------------------------


def test_serve_without_books_begins(tmp_path, monkeypatch):
    """`serve` of a path that is not there shows the start, in farm.db unless named."""
    seen = []
    monkeypatch.setattr(commands, "_serve_pages", lambda office, *_: seen.append(office))
    monkeypatch.chdir(tmp_path)
    assert CliRunner().invoke(tierpole, ["serve"]).exit_code == 0
    assert isinstance(seen[0], Beginning)
    assert seen[0].where == "farm.db"
    assert not (tmp_path / "farm.db").exists()
    monkeypatch.undo()
    refused = CliRunner().invoke(tierpole, ["serve", str(tmp_path / "x.db"), "--lan"])
    assert "Begin the farm on this computer first" in refused.stderr
