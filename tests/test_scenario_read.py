"""Reading a farm and its season from a file: the demo, the second example, weather of one's own."""

import re
import shutil
import tomllib
from datetime import date

import numpy as np
import pytest

from full_farm import write_farm
from tierpole.errors import InputError, StoreError
from tierpole.outlook import make_outlook
from tierpole.outlook.forecast import priors
from tierpole.outlook.sky import skies
from tierpole.plan import Stop, make_plan
from tierpole.rulebook import rulebook_on
from tierpole.scenario import demo_path, read_scenario
from tierpole.season import faults
from tierpole.weather import clean, fill_gaps, season_pool
from weather_data import DEMO, FRONT_ROYAL, raw

DEMO_TEXT = demo_path().read_text(encoding="utf-8")
# by definition: the international yard and pound of 1959, the acre of 43,560 square feet
FOOT, POUND = 0.3048, 0.45359237
ACRE = 43_560 * FOOT**2
UNITS = {
    "acre": ACRE, "ft": FOOT, "in": FOOT / 12, "ft3": FOOT**3, "lb": POUND, "%": 0.01, "F": 1 / 1.8,
    "deg": 1.0, "h": 3600.0, "days": 1.0, "USD": 1.0, "USD/plant": 1.0, "USD/h": 1 / 3600,
    "USD/acre": 1 / ACRE, "USD/lb": 1 / POUND, "USD/point/lb": 100 / POUND, "min/stick": 60.0,
    "lb/h": POUND / 3600,
}  # fmt: skip


@pytest.fixture(scope="module")
def front_royal():
    return read_scenario(demo_path("front_royal"))


def written(folder, text=DEMO_TEXT, **edits):
    """A copy of the demo with some lines changed; `edits` are keys and their new values."""
    for key, value in edits.items():
        text, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text, count=1)
        assert count == 1, key
    path = folder / "farm.toml"
    path.write_text(text, encoding="utf-8")
    return path


def told(path):
    with pytest.raises(InputError) as caught:
        read_scenario(path)
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize("name", ["demo", "front_royal"])
def test_quantities_against_their_definitions(name):
    """Every quantity of the examples stands in SI, by the factors that define its unit."""
    path = demo_path(name)
    season, tables = read_scenario(path), tomllib.loads(path.read_text(encoding="utf-8"))
    checked = set()
    for noun, row in nouns_and_rows(season, tables):
        for key, text in row.items():
            written = re.fullmatch(r"(-?[\d.]+) (\S+)", text) if isinstance(text, str) else None
            if written is None or written[2] not in UNITS:
                continue
            factor = 1.0 if "day_length" in key else UNITS[written[2]]
            zero = 32.0 if key == "temperature" else 0.0  # a reading, not a difference
            wanted = (float(written[1]) - zero) * factor
            assert getattr(noun, key) == pytest.approx(wanted, rel=1e-12), key
            checked.add(written[2])
    assert checked >= {"acre", "lb", "F", "%", "ft", "in", "ft3", "min/stick", "USD/acre"} or (
        name == "front_royal"
    )
    assert len(checked) >= 15


def nouns_and_rows(season, tables):
    """Each noun of a season with the table it was read from."""
    for name, written in tables.items():
        read = getattr(season, name, None)
        if name != "weather" and isinstance(written, dict):
            yield read, written
        elif name != "season" and isinstance(written, list):
            yield from zip(read, written, strict=True)


def test_demo_is_the_farm_its_words_promise():
    """12 to 18 acres in 7 to 9 lots, clones and seed, four places, all invented, no fault."""
    season = read_scenario(demo_path())
    acres = sum(lot.area for lot in season.lots) / ACRE
    assert 12 <= acres <= 18
    assert 7 <= len(season.lots) <= 9
    assert {lot.stock.value for lot in season.lots} == {"clone", "seed"}
    assert {place.kind.value for place in season.places} == {
        "air-cured barn", "shed with fans", "greenhouse frame"
    }  # fmt: skip
    assert season.farm.is_invented
    assert all(variety.is_invented for variety in season.varieties)
    assert faults(season) == []


def test_demo_stand_in_year_is_chosen_by_its_stated_rule():
    """Of the wettest third of Septembers, the year whose first 28 °F night is the median one."""
    whole = read_scenario(demo_path(), on=date(2026, 12, 31))
    assert whole.stand_in_year == 1996
    pool = season_pool(fill_gaps(clean(raw(DEMO))[0])[0])
    september, after_july = slice(153, 183), slice(122, 275)
    rain = pool.rain[:, september].sum(axis=1)
    wettest = np.argsort(-rain)[: round(len(pool) / 3)]
    is_cold = pool.t_min[wettest, after_july] <= (28 - 32) / 1.8
    first = np.where(is_cold.any(axis=1), is_cold.argmax(axis=1), 999)
    order = wettest[np.argsort(first, kind="stable")]
    assert (len(order), pool.years[order[9]]) == (19, 1996)
    assert 1996 not in skies(read_scenario(demo_path()), 10, 1).daily.years


def test_stand_in_weather_is_redated_and_not_drawn_from():
    """1 September 2026 is 1 September 1996 of the record; 1996 itself is blank in the past."""
    season, record = read_scenario(demo_path()), raw(DEMO)
    at = np.searchsorted(record.dates, np.datetime64("1996-09-01"))
    assert season.this_weather.dates[-1] == np.datetime64("2026-09-01")
    assert season.this_weather.t_max[-1] == record.t_max[at]
    gone = season.past_weather.year == 1996
    assert gone.sum() == 366
    assert np.isnan(season.past_weather.t_min[gone]).all()
    assert "re-dated from 1996" in season.this_weather.provenance


def test_seen_on_another_day():
    """`on` looks at the same file from another day: fewer facts before, the rest unchanged."""
    early = read_scenario(demo_path(), on=date(2026, 8, 20))
    assert (early.on, len(early.tests), len(early.cuts)) == (date(2026, 8, 20), 0, 0)
    assert early.lots == read_scenario(demo_path()).lots
    with pytest.raises(InputError, match="2031-01-01"):
        read_scenario(demo_path(), on=date(2031, 1, 1))


def test_weather_beside_the_file(tmp_path):
    """A station's file that lies beside the scenario gives the season the built-in one does."""
    shutil.copy(DEMO, tmp_path / "georgetown.csv.gz")
    shutil.copy(DEMO.with_name("stations.csv"), tmp_path / "stations.csv")
    own = read_scenario(written(tmp_path, station='"georgetown.csv.gz"'))
    built_in = read_scenario(demo_path())
    assert own.past_weather.station == built_in.past_weather.station
    np.testing.assert_array_equal(own.past_weather.t_min, built_in.past_weather.t_min)
    np.testing.assert_array_equal(own.this_weather.rain, built_in.this_weather.rain)


def test_forecast_beside_the_file(tmp_path):
    """A forecast file is read from beside the scenario, and seen once it was issued."""
    issued = "2026-09-02T06:00"
    rows = [f"{issued},2026-09-{day:02},50,75,0.1" for day in range(2, 9)]
    text = "\n".join(["issued,date,t_min_f,t_max_f,rain_in", *rows])
    (tmp_path / "forecast.csv").write_text(text, encoding="utf-8")
    text = DEMO_TEXT.replace("stand_in_year", 'forecast = "forecast.csv"\nstand_in_year')
    path = written(tmp_path, text)
    season = read_scenario(path)
    assert season.forecast is not None
    assert season.forecast.issued == date(2026, 9, 2)
    assert read_scenario(path, on=date(2026, 9, 1)).forecast is None


def test_a_year_the_station_lacks_is_no_stand_in(tmp_path):
    (fault,) = told(written(tmp_path, stand_in_year="2009"))
    assert "weather" in fault
    assert "stand_in_year must be a year the station recorded" in fault


def test_what_cannot_be_read_is_said_plainly(tmp_path):
    """A missing file, bytes that are no text, a station that is not there."""
    with pytest.raises(StoreError, match="cannot be read"):
        read_scenario(tmp_path / "nowhere.toml")
    path = tmp_path / "farm.toml"
    path.write_bytes(b"\xff\xfe\x00farm")
    assert "UTF-8" in told(path)[0]
    (fault,) = told(written(tmp_path, station='"built-in:nowhere"'))
    assert "built-in:mopex_03238500" in fault
    (fault,) = told(written(tmp_path, station='"nowhere.csv"'))
    assert "beside the scenario" in fault


def test_several_slips_are_told_at_once(tmp_path):
    """A bare number, a wrong unit, an unknown rulebook and a misspelt key in one reading."""
    path = written(
        tmp_path, jurisdiction='"atlantis"', area="1.6", volume='"900 lb"', haul_limit="0"
    )
    text = path.read_text(encoding="utf-8").replace("sticks_owned", "stick_owned")
    path.write_text(text, encoding="utf-8")
    said = "\n".join(told(path))
    for words in (
        "jurisdiction must be one of georgia, ohio",
        "'lb' is not a unit of a volume",
        "written with its unit in quotes",
        "haul_limit must be a whole number from 10",
        "sticks_owned",
    ):
        assert words in said, words


def test_front_royal_is_its_own_year_with_its_gaps(front_royal):
    """A real station: no stand-in, morning readings moved back, no rain from late July on."""
    assert front_royal.stand_in_year is None
    assert front_royal.year == 2020
    assert 2020 not in front_royal.past_weather.year[np.isfinite(front_royal.past_weather.t_min)]
    record = raw(FRONT_ROYAL)
    observed, findings = clean(front_royal.this_weather)
    assert any("moved to the day before" in str(finding) for finding in findings)
    day = np.datetime64("2020-06-10")
    written_next = record.t_max[np.searchsorted(record.dates, day) + 1]
    assert observed.t_max[np.searchsorted(observed.dates, day)] == written_next
    assert np.isnan(observed.rain[observed.dates > np.datetime64("2020-08-01")]).all()


def test_front_royal_days_without_rain_are_still_seen(front_royal):
    """Temperatures of August are those observed in every row, rain a different year's in each."""
    sky = skies(front_royal, 20, 1)
    day = front_royal.index(date(2020, 8, 20))
    assert sky.daily.origin[day] == "observed"
    assert np.ptp(sky.daily.t_min[:, day]) == 0
    assert np.ptp(sky.daily.rain[:, day - 15 : day + 15]) > 10
    assert 15 <= len(sky.daily) <= 24
    assert sky.daily.origin[front_royal.today] == "past"


def test_front_royal_is_planned_under_the_rules_of_its_year(front_royal):
    """A plan in time: sampled on the sampler's days, cut from the result to day 15, within room."""
    book = rulebook_on("us-federal", front_royal.on)
    assert book.window_days.value == 15
    outlook = make_outlook(front_royal, draws=20, seed=1)
    plan = make_plan(front_royal, outlook, Stop(gap=0.05, seconds=1.0), explain=False)
    assert plan.broken_rules == ()
    assert plan.cuts, "something is worth cutting"
    for lot in plan.lots:
        if lot.sample_on is None:
            assert not lot.cuts
            continue
        assert lot.sample_on.strftime("%a").lower() in ("mon", "tue", "wed", "thu")
        assert (lot.sample_on - lot.request_on).days >= 4
        for cut in lot.cuts:
            assert 5 <= (cut.day - lot.sample_on).days <= 15
    for place in plan.places:
        assert (place.hanging <= place.capacity).all()


def test_certificates_beside_a_scenario_are_its_tests(tmp_path):
    """18.9 mg/g as received at 10 % moisture is 2.1 % of dry weight; <0.45 mg/g is under 0.05 %.

    Dry basis = as received / (1 - moisture), wet basis: 7 CFR 990.1, "dry weight basis".
    """
    season = read_scenario(write_farm(tmp_path))
    test = season.tests[-1]
    assert (test.lot, test.laboratory, test.plants) == ("2 Bank", "Own", 5)
    assert test.total_cbd == pytest.approx(0.021)
    assert test.total_thc == pytest.approx(0.0005)
    assert (test.cbd_below, test.thc_below) == (False, True)
    assert "10 %" in test.note


def test_a_certificates_fault_is_told_in_its_own_file(tmp_path):
    """A lot that the season does not know, and a total over its parts, each where it stands."""
    path = write_farm(tmp_path)
    coa = tmp_path / "coa.csv"
    coa.write_text(coa.read_text("utf-8").replace("2 Bank", "2 Bnak"), encoding="utf-8")
    with pytest.raises(InputError, match=r"coa\.csv, certificate 1: lot must be the name of a lot"):
        read_scenario(path)


def test_what_was_learnt_takes_the_place_of_the_varietys_own_values(tmp_path):
    """The file's prior is what the forecast starts from; the other variety keeps its own."""
    season = read_scenario(write_farm(tmp_path))
    quick, late = priors(season)
    assert late == season.learnt[0].prior
    assert quick.cbd_plateau == pytest.approx(0.072)
    assert season.learnt[0].seasons == (2025,)
