"""Typical years against pvlib's readers of the same files, and faulty ones."""

import gzip
from pathlib import Path

import numpy as np
import pvlib
import pytest

from tierpole.errors import InputError
from tierpole.sources import read_typical_year
from weather_data import DATA

GREENSBORO = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
PITTSBURGH = DATA / "pittsburgh.epw.gz"
# ours: the name pvlib gives it, and the factor from its unit to ours
COLUMNS = {
    "temperature": ("temp_air", 1.0),
    "dew_point": ("temp_dew", 1.0),
    "humidity": ("relative_humidity", 0.01),
    "wind": ("wind_speed", 1.0),
    "sun": ("ghi", 1.0),
}


def compare(ours, theirs, pressure):
    for name, (title, factor) in COLUMNS.items():
        np.testing.assert_allclose(getattr(ours, name), theirs[title].to_numpy() * factor)
    column, factor = pressure
    np.testing.assert_allclose(ours.pressure, theirs[column].to_numpy() * factor)


def test_tmy3_against_pvlib():
    """Every hour of a TMY3 file and its head as pvlib's reader gives them."""
    theirs, head = pvlib.iotools.read_tmy3(GREENSBORO, map_variables=True)
    ours = read_typical_year(GREENSBORO)
    compare(ours, theirs, ("pressure", 100.0))
    assert ours.station.latitude == head["latitude"]
    assert ours.station.longitude == head["longitude"]
    assert ours.station.elevation == head["altitude"]
    assert ours.time_zone == head["TZ"]
    assert ours.station.name == "GREENSBORO PIEDMONT TRIAD INT, NC"


def test_epw_against_pvlib(tmp_path):
    """Every hour of an EPW file and its head as pvlib's reader gives them."""
    plain = tmp_path / "pittsburgh.epw"
    plain.write_bytes(gzip.decompress(PITTSBURGH.read_bytes()))
    theirs, head = pvlib.iotools.read_epw(plain)
    ours = read_typical_year(PITTSBURGH)
    compare(ours, theirs, ("atmospheric_pressure", 1.0))
    assert (ours.station.latitude, ours.station.longitude) == (head["latitude"], head["longitude"])
    assert (ours.station.elevation, ours.time_zone) == (head["altitude"], head["TZ"])


def test_typical_year_limits():
    """The sun stands highest near noon, and air never lies below its dew point by much."""
    for path in (GREENSBORO, PITTSBURGH):
        year = read_typical_year(path)
        by_hour = year.sun.reshape(365, 24).mean(axis=0)
        assert by_hour.argmax() in (11, 12)
        assert by_hour[0] == 0
        assert (year.temperature - year.dew_point > -0.5).all()


def spoiled(tmp_path, change, path=PITTSBURGH):
    text = gzip.decompress(path.read_bytes()).decode()
    file = tmp_path / "spoiled.epw"
    file.write_text(change(text), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_typical_year(file)
    return str(caught.value)


def test_faulty_typical_years(tmp_path):
    def missing(text):
        lines = text.splitlines()
        for number, value in ((100, "99.9"), (200, "warm")):
            cells = lines[number].split(",")
            cells[6] = value
            lines[number] = ",".join(cells)
        return "\n".join(lines)

    assert spoiled(tmp_path, missing) == (
        "spoiled.epw: 2 problems\n"
        "  row 101: temperature must be a number from -70 to 60, got '99.9'.\n"
        "  row 201: temperature must be a number from -70 to 60, got 'warm'."
    )
    short = spoiled(tmp_path, lambda text: "\n".join(text.splitlines()[:-24]))
    assert "hourly rows must be 8760 below a TMY3 or EPW header, got 8736" in short
    place = spoiled(tmp_path, lambda text: text.replace("40.35,-79.92", "north,-79.92"))
    assert "row 1: latitude must be a number from -66 to 66, got 'north'" in place
    assert "hourly rows must be 8760" in spoiled(tmp_path, lambda text: "")
    titles = GREENSBORO.read_text(encoding="utf-8").replace("Dew-point (C)", "Dew (C)")
    told = spoiled(tmp_path, lambda text: titles)
    assert "row 2: Dew-point (C) must be among the column titles" in told
