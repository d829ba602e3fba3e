"""The farm's own gauge and a station's newer file: entered, planned from, taken out and back in."""

from __future__ import annotations

import gzip
import re
import threading
from datetime import date, timedelta

import httpx
import numpy as np
import pytest

from books_office import form_of, quick_office, written
from full_farm import TEXT, write_farm
from page_server import served
from records_books import farm_of, same
from tierpole.errors import InputError
from tierpole.farm import Cut
from tierpole.farm.measure import Day
from tierpole.outlook.sky import observed_weather
from tierpole.records import (
    KINDS,
    Change,
    Wanted,
    WeatherFiles,
    export_package,
    export_scenario,
    import_package,
    import_season,
    nouns,
    open_store,
    read_content,
    read_season,
    season_hash,
    write,
    write_with,
)
from tierpole.scenario import read_scenario, read_whole

pytest_plugins = ["records_server"]
READ = {"rain": "1 1/4 in", "temperature_lowest": "57", "temperature_highest": "29 C",
        "read_on": "2026-09-09", "read_at": "06:30"}  # fmt: skip


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("gauge")) as office:
        yield office


@pytest.fixture(scope="module")
def client(office):
    with served(office) as address, httpx.Client(base_url=address, timeout=30) as client:
        client.get("/enter")
        yield client


@pytest.fixture(scope="module")
def program(office, client):
    token = office.people.new_api_token("weather box", "write")
    headers = {"authorization": f"Bearer {token}"}
    with httpx.Client(base_url=f"{client.base_url}/api/v1/", headers=headers) as program:
        yield program


def send(client, path, files=None, **answers):
    page = client.get(path, follow_redirects=True)
    texts = dict(re.findall(r'<input [^>]*name="(\w+)"[^>]* value="([^"]*)"', page.text))
    return client.post(page.url.path, data=texts | answers, files=files)


def seen(season, day):
    """Lowest, highest and rain of a day as a plan of this season has them."""
    record = observed_weather(season)
    (number,) = np.flatnonzero(record.dates == np.datetime64(day))
    return [float(getattr(record, name)[number]) for name in ("t_min", "t_max", "rain")]


def planned_anew(office, before):
    """The season of the plan just made, which is kept by the hash of what the books now say."""
    wanted = season_hash(read_season(office.store))
    assert wanted != season_hash(before)
    for _ in range(500):
        kept = office.kept(office.mark)
        if kept.inputs == wanted:
            break
        threading.Event().wait(0.02)
    season = office.worked[-1]
    assert kept.inputs == wanted == season_hash(season)
    return season


# --- a new plan -----------------------------------------------------------------------------------


def test_an_own_reading_leads_to_a_new_plan(office, client):
    """Of that morning the lowest, of the day before it rain and highest; taken back, as before."""
    before = office.worked[-1]
    sent = send(client, "/enter/gauge", **READ)
    assert sent.status_code == 303
    after = planned_anew(office, before)
    station = [seen(before, day) for day in ("2026-09-08", "2026-09-09")]
    assert seen(after, "2026-09-08") == pytest.approx([station[0][0], 29.0, 1.25 * 25.4])
    assert seen(after, "2026-09-09") == pytest.approx([(57 - 32) / 1.8, *station[1][1:]])
    told = client.get(sent.headers["location"]).text
    assert "1.25 in" in told
    undo = form_of(client, sent.headers["location"])
    assert client.post(f"{sent.headers['location']}/undo", data=undo).status_code == 303
    assert season_hash(planned_anew(office, after)) == season_hash(before)


def test_a_reading_by_a_program_leads_to_a_new_plan(office, program):
    """In SI, or in text with its unit; what moved nothing is not told of a lot."""
    before = office.worked[-1]
    value = {"read_on": "2026-09-09", "read_at": "19:00", "rain": "12 mm"}
    answer = program.post("gauge", json={"value": value})
    assert answer.status_code == 201
    assert seen(planned_anew(office, before), "2026-09-09")[2] == 12.0
    assert program.get("gauge").json()["items"][-1]["value"]["rain"] == 12.0


def newer_file(store, tenths):
    """The station's file as it was handed in, with another value on one day of this season."""
    source = nouns(store, Wanted("weather"))[-1].noun
    data = read_content(store, source.station_content)
    text = (gzip.decompress(data) if data[:2] == b"\x1f\x8b" else data).decode()
    day = f"{source.stand_in_year}0908"
    (row,) = (line for line in text.splitlines() if f",{day},TMAX," in line)
    cells = row.split(",")
    cells[3] = tenths
    return text.replace(row, ",".join(cells)).encode()


def test_a_newer_weather_file_leads_to_a_new_plan(office, client):
    """Handed in by the form: the plan made in the background rests on it."""
    before = office.worked[-1]
    files = {"station_content": ("newer.csv", newer_file(office.store, "312"), "text/csv")}
    sent = send(client, "/enter/any-weather", files, why="a day was mended")
    assert sent.status_code == 303
    assert seen(before, "2026-09-08")[1] != 31.2
    assert seen(planned_anew(office, before), "2026-09-08")[1] == 31.2


def test_a_newer_weather_file_by_a_program_leads_to_a_new_plan(office, program):
    """Sent as text/csv, then named in the season's weather by its hash."""
    before = office.worked[-1]
    kept = program.post("content", content=newer_file(office.store, "299"),
                        headers={"content-type": "text/csv"}).json()  # fmt: skip
    (stored,) = program.get("weather").json()["items"]
    said = {"value": stored["value"] | {"station_content": kept["hash"], "file": "newer.csv"},
            "corrects": [stored["entry"]], "why": "a day was mended"}  # fmt: skip
    assert program.put(f"weather/{stored['id']}", json=said).status_code == 201
    assert seen(planned_anew(office, before), "2026-09-08")[1] == 29.9


# --- out and in -----------------------------------------------------------------------------------


def test_readings_go_out_and_come_back(office, client, tmp_path):
    """A scenario and a package made of the books are the same season; a look back sees less."""
    send(client, "/enter/gauge", **READ)
    send(client, "/enter/gauge", **READ | {"rain": "0", "read_on": "2026-09-05"})
    now = read_season(office.store)
    assert {(str(one.read_on), one.rain) for one in now.gauge_readings} >= {
        ("2026-08-28", 31.75), ("2026-09-09", 31.75), ("2026-09-05", 0.0)
    }  # fmt: skip
    for system in ("us", "metric"):
        export_scenario(office.store, system=system).write(tmp_path / f"{system}.toml")
        assert same(read_scenario(tmp_path / f"{system}.toml"), now)
    export_package(office.store, tmp_path / "farm.zip")
    import_package(tmp_path / "farm.zip", tmp_path / "again.db")
    with open_store(tmp_path / "again.db") as again:
        assert same(read_season(again), now)
    for on, count in ((date(2026, 9, 8), 2), (date(2026, 9, 4), 1)):
        assert len(read_season(office.store, on).gauge_readings) == count, on


def test_a_slip_is_told_beside_the_question(client, office):
    """Nothing read, upside down, no such unit: nothing is written, and the reason is shown."""
    before = written(office)
    empty = dict.fromkeys(("rain", "temperature_lowest", "temperature_highest"), "")
    for answers, said in (
        (READ | empty, "This must be a reading of rain or of a temperature."),
        (READ | {"temperature_highest": "50 F"}, "whose highest temperature is at or above"),
        (READ | {"rain": "2 buckets"}, "Rain in the gauge must be rain from 0 in to 40 in"),
    ):
        sent = send(client, "/enter/gauge", **answers)
        assert sent.status_code == 422
        assert said in sent.text
    assert written(office) == before


def test_the_form_says_whose_day_it_is(client):
    """Above the questions, and in Spanish; the hour is offered again, the values are not."""
    first = client.get("/enter/gauge").text
    assert "Read before noon, the rain and the highest temperature count for the day" in first
    send(client, "/enter/gauge", **READ)
    again = client.get("/enter/gauge").text
    assert re.search(r'id="read_at"[^>]*value="06:30"', again)
    assert re.search(r'id="rain"[^>]*value=""', again)


# --- days to come ---------------------------------------------------------------------------------

TO_COME = date(2099, 9, 9)


def past_fields():
    """Every field that holds the day of what happened, by kind."""
    for kind in KINDS:
        for name, info in kind.noun.model_fields.items():
            rules = [*info.metadata, *(
                rule for part in getattr(info.annotation, "__args__", ())
                for rule in getattr(part, "__metadata__", ())
            )]  # fmt: skip
            if any(isinstance(rule, Day) for rule in rules):
                yield kind.name, name, any(getattr(rule, "is_past", False) for rule in rules)


def test_which_days_may_lie_ahead():
    """Plans, appointments and terms may; what was done, seen, weighed or paid may not."""
    ahead = {(kind, name) for kind, name, is_past in past_fields() if not is_past}
    assert ahead == {
        ("season", "on"), ("learnt", "added_on"), ("lot", "set_on"), ("place", "free_from"),
        ("place", "known_on"), ("sample", "sampled_on"), ("order", "due_on"),
        ("licence", "valid_from"), ("licence", "expires_on"),
        ("approval", "valid_from"), ("approval", "expires_on"), ("plan", "made_on"),
        ("other_crop", "priced_on"),
        ("plan", "seen_on"), ("sampler", "closed_on"),
    }  # fmt: skip
    own = {(kind.name, kind.day) for kind in KINDS if kind.day}
    assert len(own - ahead) > 25, "most nouns have a day of their own, which is past"


def test_a_form_refuses_a_day_to_come(client, office):
    """Beside its question; the day after is allowed, for phones whose clock runs ahead."""
    before = written(office)
    told = send(client, "/enter/gauge", **READ | {"read_on": str(TO_COME)})
    assert told.status_code == 422
    assert "Day it was read must be today or before: it is of what happened." in told.text
    assert 'id="read_on-fault"' in told.text
    assert written(office) == before
    last = max(date.today(), office.season.on)  # noqa: DTZ011 - farm-local
    for days, code in ((2, 422), (1, 303), (0, 303)):
        answers = {"written_on": str(last + timedelta(days=days)), "text": "a clock that runs"}
        assert send(client, "/enter/any-memo", **answers).status_code == code


def test_a_program_is_refused_a_day_to_come(program, office):
    """With field, value and what is allowed; also for the day it became known."""
    cut = {"lot": "2 Bank", "cut_on": str(TO_COME), "sticks": 3}
    refused = program.post("cut", json={"value": cut})
    assert refused.status_code == 422
    (fault,) = refused.json()["faults"]
    assert (fault["field"], fault["value"]) == ("cut_on", str(TO_COME))
    assert fault["allowed"].startswith("today or before (")
    said = {"value": cut | {"cut_on": "2026-09-09"}, "known_on": str(TO_COME)}
    refused = program.post("cut", json=said)
    assert refused.status_code == 422
    assert refused.json()["faults"][0]["field"] == "known_on"
    fine = {"value": {"lot": "2 Bank", "requested_on": "2026-09-09", "sampled_on": str(TO_COME)}}
    assert program.post("sample", json=fine).status_code == 201


def test_a_certificate_of_a_day_to_come_is_refused(client, office):
    """Row by row, as other slips of a laboratory are."""
    from test_web_certificates import FILE, hand_in, tell

    ahead = FILE.splitlines()[1].replace("9/1/2026", "9/2/2026").replace("9/4/2026", "9/4/2099")
    before = len(nouns(office.store, Wanted("test")))
    page = hand_in(client, FILE + ahead + "\n")
    taken = tell(client, page.text)
    assert "reported_on must be today or before" in taken.text
    assert len(nouns(office.store, Wanted("test"))) == before + 1


def test_packages_of_any_day_are_taken_in(filed, tmp_path):
    """They are books already; what lies ahead in them is hidden until its day."""
    farm_of(filed)
    ahead = Cut(lot="4 Lane", cut_on=TO_COME, sticks=3)
    write(filed, [Change(ahead, season=2026)], "Ann")
    with pytest.raises(InputError, match="cut_on must be today or before"):
        write_with(filed, [Change(ahead)], [], "Ann")
    export_package(filed, tmp_path / "farm.zip")
    import_package(tmp_path / "farm.zip", tmp_path / "again.db")
    with open_store(tmp_path / "again.db") as again:
        assert [one.noun for one in nouns(again, Wanted("cut"))] == [ahead]


def test_scenarios_of_any_year_are_taken_in(filed, tmp_path):
    """A season to come is a file as any other: it tells a whole season, all of it ahead."""
    text = re.sub(r"\b2026-", "2099-", TEXT).replace("season = 2026", "season = 2099")
    text = text.replace('forecast = "forecast.csv"\n', "").replace('"coa.csv"', "")
    text = re.sub(r"\[\[loggers\]\]\n(.+\n)+", "", text)
    whole = read_whole(write_farm(tmp_path, text))
    files = WeatherFiles(whole.station, "station.csv", stand_in_year=1996)
    import_season(filed, whole.season, files, who="Ann", keep_day=True)
    assert read_season(filed).cuts[0].cut_on.year == 2099
