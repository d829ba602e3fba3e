"""Forecast files by the day and by the hour, and what is said when they are wrong."""

import json
from datetime import date, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tierpole.errors import InputError
from tierpole.sources import read_forecast
from weather_data import outcome

ISSUED = "2026-09-14T06:00"
DAILY = """\
issued,date,t_min_f,t_max_f,rain_in,dew_point_f
2026-09-14T06:00,2026-09-14,50,77,0.0,50
2026-09-14T06:00,2026-09-15,32,68,1.0,41
"""


def written(tmp_path, text, name="forecast.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def problem(path):
    with pytest.raises(InputError) as caught:
        read_forecast(path)
    return str(caught.value)


def hours(days, first=0):
    """Hours of whole days: 10 °C at midnight up to 21.5 at 23:00, a tenth of rain an hour."""
    stamps = [(f"2026-09-{14 + d}T{h:02}:00", h) for d in range(days) for h in range(24)][first:]
    return [{"time": t, "t_c": 10 + h / 2, "rain_mm": 0.1, "dew_point_c": 5} for t, h in stamps]


def test_daily_csv(tmp_path):
    """Fahrenheit and inches become Celsius and millimetres; the issue time is kept."""
    forecast = read_forecast(written(tmp_path, DAILY))
    assert forecast.issued_at == datetime.fromisoformat(ISSUED)
    assert forecast.issued == date(2026, 9, 14)
    assert forecast.lead.tolist() == [0, 1]
    np.testing.assert_allclose(forecast.t_min, [10, 0])
    np.testing.assert_allclose(forecast.t_max, [25, 20])
    np.testing.assert_allclose(forecast.rain, [0, 25.4])
    np.testing.assert_allclose(forecast.dew_point, [10, 5])
    assert forecast.source == "forecast.csv"


def test_daily_json_in_metric_units(tmp_path):
    day = {"date": "2026-09-15", "t_min_c": 8.5, "t_max_c": 20, "rain_mm": 3}
    text = json.dumps({"issued": f"{ISSUED}-04:00", "daily": [day]})
    forecast = read_forecast(written(tmp_path, text, "f.json"))
    assert (forecast.t_min[0], forecast.t_max[0], forecast.rain[0]) == (8.5, 20, 3)
    assert forecast.dew_point is None
    assert forecast.issued_at.isoformat() == "2026-09-14T06:00:00-04:00"


def test_hours_become_days(tmp_path):
    """Extremes, sum and mean of each day; the ten hours left of the first are too few."""
    text = json.dumps({"issued": "2026-09-14T13:30", "hourly": hours(3, first=14)})
    forecast = read_forecast(written(tmp_path, text, "f.json"))
    assert [str(day) for day in forecast.dates] == ["2026-09-15", "2026-09-16"]
    np.testing.assert_allclose(forecast.t_min, 10)
    np.testing.assert_allclose(forecast.t_max, 21.5)
    np.testing.assert_allclose(forecast.rain, 2.4)
    np.testing.assert_allclose(forecast.dew_point, 5)


def test_hourly_csv_and_json_agree(tmp_path):
    table = hours(2)
    lines = [f"{ISSUED},{r['time']},{r['t_c']},{r['rain_mm']},{r['dew_point_c']}" for r in table]
    text = "\n".join(["issued,time,t_c,rain_mm,dew_point_c", *lines])
    one = read_forecast(written(tmp_path, text))
    other = read_forecast(
        written(tmp_path, json.dumps({"issued": ISSUED, "hourly": table}), "f.json")
    )
    for name in ("t_min", "t_max", "rain", "dew_point", "dates"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))


def test_every_fault_is_told(tmp_path):
    text = DAILY.replace("50,77", "fifty,77").replace("32,68,1.0", "32,680,-1")
    assert problem(written(tmp_path, text)) == (
        "forecast.csv: 3 problems\n"
        "  row 2: t_min_f must be a number from -76 to 131, got 'fifty'.\n"
        "  row 3: t_max_f must be a number from -76 to 131, got '680'.\n"
        "  row 3: rain_in must be a number from 0 to 24, got '-1'."
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "rows must be at least one day"),
        ("issued,date,t_min_f,t_max_f,rain_in\n", "rows must be at least one day"),
        (DAILY.replace("rain_in", "rain"), "rain must be either rain_in or rain_mm, it is missing"),
        (DAILY.replace("dew_point_f", "t_min_c"), "t_min must be either t_min_f or t_min_c"),
        (DAILY.replace("06:00,2026-09-15", "07:00,2026-09-15"), "issued must be the same in every"),
        (DAILY.replace(ISSUED, "this morning"), "issued must be a local time such as"),
        (DAILY.replace("2026-09-15", "2026-09-31"), "row 3: date must be a local time such as"),
        (DAILY.replace("2026-09-15", "2026-09-17"), "date must be the day after 2026-09-14"),
        (DAILY.replace(ISSUED, "2026-09-20T06:00"), "first day must be on or after the issue"),
        (DAILY.replace("50,77", "80,77"), "2026-09-14: t_max must be at least t_min (26.7 °C)"),
        ("{", "must be valid JSON"),
        ("[]", "daily must be a list of tables"),
        ('{"issued": "2026-09-14", "daily": [1]}', "daily must be a list of tables"),
        ('{"daily": [{"date": "2026-09-14", "t_min_c": null}]}', "t_min_c must be a number"),
        (json.dumps({"issued": ISSUED, "hourly": hours(1, 10)}), "days must be 1 to 16 days"),
    ],
)
def test_a_faulty_forecast(tmp_path, text, told):
    assert told in problem(written(tmp_path, text))


def test_too_many_days(tmp_path):
    head, first, _ = DAILY.splitlines()
    days = [first.replace("2026-09-14,", f"2026-09-{14 + n},") for n in range(17)]
    told = problem(written(tmp_path, "\n".join([head, *days])))
    assert "days must be 1 to 16 days with their values, got 17" in told


GOOD = {"date": "2026-09-14", "t_min_c": 8, "t_max_c": 20, "rain_mm": 0}
values = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.just([])


@settings(max_examples=150, deadline=None)
@given(key=st.sampled_from([*GOOD, "issued", "daily"]), value=values)
def test_a_changed_value_reads_or_is_explained(tmp_path_factory, key, value):
    """Any one value spoiled: a forecast with finite numbers or an error in words."""
    content = {"issued": ISSUED, "daily": [dict(GOOD)]}
    (content if key in content else content["daily"][0])[key] = value
    path = written(tmp_path_factory.mktemp("spoiled"), json.dumps(content), "f.json")
    found = outcome(read_forecast, path)
    if isinstance(found, str):
        assert found.startswith("f.json: ")
    else:
        assert np.isfinite([found.t_min, found.t_max, found.rain]).all()
