"""Loggers' and forms' files: what is read, and what is told when it cannot be."""

import json
from datetime import date

import pytest

from tierpole.errors import InputError, StoreError
from tierpole.sources import read_readings
from tierpole.units import POUND

AIR = """time,temperature_f,humidity_pct
2026-09-01T06:00,58.1,91
2026-09-01T07:00,,
2026-09-01 08:00:30,62,84.5
"""
WEIGHTS = """time,lot,hung_on,sticks,mass_lb
2026-08-26T14:00,1 River,2026-08-26,2,36.5
2026-09-01T09:00,1 River,2026-08-26,2,15.25
"""


def faults_of(tmp_path, text, name="logger.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_readings(path, "Frame")
    return [str(fault) for fault in caught.value.faults]


def test_a_loggers_csv(tmp_path):
    """Values in SI, gaps left out, seconds dropped."""
    (tmp_path / "logger.csv").write_text(AIR, encoding="utf-8")
    found = read_readings(tmp_path / "logger.csv", "Frame")
    assert found.weights == ()
    first, last = found.air
    assert (first.place, first.read_on, first.read_at) == ("Frame", date(2026, 9, 1), "06:00")
    assert first.temperature == pytest.approx(14.5)
    assert first.humidity == pytest.approx(0.91)
    assert last.read_at == "08:00"
    assert last.temperature == pytest.approx((62 - 32) / 1.8)


def test_weights_in_pounds_or_kilograms(tmp_path):
    """The same sticks in either unit."""
    (tmp_path / "lb.csv").write_text(WEIGHTS, encoding="utf-8")
    pounds = read_readings(tmp_path / "lb.csv", "Frame").weights
    assert [w.mass for w in pounds] == pytest.approx([36.5 * POUND, 15.25 * POUND])
    assert (pounds[0].lot, pounds[0].hung_on, pounds[0].sticks) == (
        "1 River", date(2026, 8, 26), 2,
    )  # fmt: skip
    kilograms = WEIGHTS.replace("mass_lb", "mass_kg").replace("36.5", f"{36.5 * POUND}")
    (tmp_path / "kg.csv").write_text(kilograms, encoding="utf-8")
    assert read_readings(tmp_path / "kg.csv", "Frame").weights[0].mass == pytest.approx(
        pounds[0].mass
    )


def test_a_row_cut_short_is_a_fault(tmp_path):
    """A row without its last cell misses a value."""
    told = faults_of(tmp_path, AIR + "2026-09-01T09:00,63\n")
    assert told == ["row 5: humidity_pct must be a number from 1 to 100, it is missing."]


def test_a_form_as_json(tmp_path):
    """Both lists of a form, numbers or texts, a tier where it is told."""
    form = {
        "air": [{"time": "2026-09-01T06:00", "temperature_c": 14.5, "humidity_pct": "91",
                 "tier": 2}],
        "weights": [{"time": "2026-09-01T09:00", "lot": "1 River", "hung_on": "2026-08-26",
                     "sticks": 2, "mass_lb": 15.25}],
    }  # fmt: skip
    (tmp_path / "form.json").write_text(json.dumps(form), encoding="utf-8")
    found = read_readings(tmp_path / "form.json", "Frame")
    assert found.air[0].tier == 2
    assert found.air[0].temperature == pytest.approx(14.5)
    assert found.weights[0].mass == pytest.approx(15.25 * POUND)


def test_every_fault_is_told_with_its_row(tmp_path):
    """Row, field, value and what is allowed, all at once."""
    spoilt = AIR.replace("58.1,91", "580,0.91") + "yesterday,60,80\n"
    assert faults_of(tmp_path, spoilt) == [
        "row 2: temperature_f must be a number from -60 to 200, got '580'.",
        "row 2: humidity_pct must be a number from 1 to 100, got '0.91'.",
        "row 5: time must be a local time such as 2026-09-01T06:00, got 'yesterday'.",
    ]
    spoilt = WEIGHTS.replace("2026-08-26,2,36.5", "26 Aug,two,")
    assert faults_of(tmp_path, spoilt) == [
        "row 2: hung_on must be a date such as 2026-08-26, got '26 Aug'.",
        "row 2: sticks must be a whole number from 1 to 100,000, got 'two'.",
        "row 2: mass_lb must be a number from 0.1 to 20000, it is missing.",
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("time,temperature,humidity_pct\n2026-09-01T06:00,58,91\n",
         [("the header: temperature must be one of humidity_pct, temperature_c, temperature_f, "
          "tier, time, got 'temperature'."),
          "the header: temperature must be either temperature_f or temperature_c, it is missing."]),
        ("time,temperature_f,temperature_c,humidity_pct\n2026-09-01T06:00,58,14,91\n",
         [("the header: temperature must be either temperature_f or temperature_c, "
          "got 'f, c'.")]),
        ("time,temperature_f,humidity_pct\n", [("the file: rows must be a header and at least one "
                                               "reading, got 0.")]),
        ("", ["the header: time must be a column, it is missing.",
              ("the header: temperature must be either temperature_f or temperature_c, it is "
              "missing."),
              "the header: humidity must be humidity_pct, it is missing.",
              "the file: rows must be a header and at least one reading, got 0."]),
    ],
)  # fmt: skip
def test_columns_say_their_unit(tmp_path, text, told):
    """A column without its unit, two units, no rows, an empty file."""
    assert faults_of(tmp_path, text) == told


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ("{", "valid JSON"),
        ("[]", "the file must be a table with air or weights"),
        ('{"air": 3}', "the file: air must be a list of tables with named values"),
        ('{"air": [{"time": "2026-09-01T06:00", "temperature_f": 58}]}',
         "air[1]: humidity must be humidity_pct, it is missing."),
        (('{"weights": [{"time": null, "lot": "", "hung_on": "2026-08-26", "sticks": 1, '
          '"mass_lb": 9}]}'),
         "weights[1]: lot must be a name of 1 to 60 characters, it is missing."),
    ],
)  # fmt: skip
def test_forms_are_checked(tmp_path, form, told):
    """What a form lacks is named."""
    assert any(told in fault for fault in faults_of(tmp_path, form, "form.json"))


def test_a_file_that_is_not_there(tmp_path):
    """A missing file is no input error."""
    with pytest.raises(StoreError):
        read_readings(tmp_path / "none.csv", "Frame")
