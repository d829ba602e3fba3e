"""Station files in NOAA's forms, and what is said when they are wrong."""

import gzip

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tierpole.errors import InputError, StoreError
from tierpole.sources import read_station
from tierpole.sources.files import Faults
from tierpole.sources.observations import parse, write
from weather_data import DATA, DEMO, outcome, raw

HEADER = "ID,DATE,ELEMENT,VALUE,MFLAG,QFLAG,SFLAG,OBSTIME"
LIST = "station,name,latitude,longitude,elevation_m,observed_in_morning"
LONG = """\
USC00440766,20260401,TMAX,189,,,7,0700
USC00440766,20260401,TMIN,22,,,7,0700
USC00440766,20260401,PRCP,0,T,,7,0700
USC00440766,20260403,TMAX,205,,,7,0700
USC00440766,20260403,TMIN,-11,,,7,0700
USC00440766,20260403,PRCP,51,,,7,0700
USC00440766,20260403,TOBS,30,,,7,0700
USC00440766,20260403,SNOW,0,,,7,0700
"""
# as NOAA's access files are written, blanks included
PLACE = '"38.3795","-81.5900","277.1","CHARLESTON YEAGER AIRPORT, WV US"'
ELEMENTS = ",".join(f'"{name}","{name}_ATTRIBUTES"' for name in ("PRCP", "TMAX", "TMIN", "ADPT"))
WIDE = f"""\
"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME",{ELEMENTS}
"USW00013866","2026-04-01",{PLACE},"    0",",,W,2400","  189",",,W","   22",",,W","   11",",,W"
"USW00013866","2026-04-03",{PLACE},"   51",",,W,2400","  205",",I,W","  -11",",,W","",""
"""


@pytest.fixture
def folder(tmp_path):
    row = 'USC00440766,"Blacksburg, Virginia",37.2,-80.41,640,'
    (tmp_path / "stations.csv").write_text(f"{LIST}\n{row}\n", encoding="utf-8")
    return tmp_path


def station_file(folder, text, name="USC00440766.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def problem(path):
    with pytest.raises(InputError) as caught:
        read_station(path)
    return str(caught.value)


@pytest.mark.parametrize(
    "header",
    ["", HEADER, "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"],
    ids=["none", "ours", "the archive's"],
)
def test_long_form(folder, header):
    """With each header in use and with none: the same record, in °C and mm, days in between NaN."""
    text = f"{header}\n{LONG}" if header else LONG
    record = read_station(station_file(folder, text))
    assert record.station.name == "Blacksburg, Virginia"
    assert record.station.elevation == 640
    assert [str(day) for day in record.dates] == ["2026-04-01", "2026-04-02", "2026-04-03"]
    np.testing.assert_array_equal(record.t_max, [18.9, np.nan, 20.5])
    np.testing.assert_array_equal(record.t_min, [2.2, np.nan, -1.1])
    np.testing.assert_array_equal(record.rain, [0.0, np.nan, 5.1])
    assert record.observed_in_morning.all()
    assert record.dew_point is None


def test_wide_form(tmp_path):
    """Place and dew point come from the file; a flagged maximum is left out and counted."""
    record = read_station(station_file(tmp_path, WIDE, "USW00013866.csv"))
    assert (record.station.latitude, record.station.longitude) == (38.3795, -81.59)
    np.testing.assert_array_equal(record.t_max, [18.9, np.nan, np.nan])
    np.testing.assert_array_equal(record.dew_point, [1.1, np.nan, np.nan])
    assert record.flagged == 1
    assert record.observed_in_morning is None


def test_gzipped_file_reads_like_the_plain_one(folder):
    plain = read_station(station_file(folder, LONG))
    packed = folder / "packed.csv.gz"
    packed.write_bytes(gzip.compress(LONG.encode()))
    np.testing.assert_array_equal(read_station(packed).t_max, plain.t_max)


def test_flagged_values_are_left_out_and_counted(folder):
    text = LONG.replace("20260403,TMAX,205,,,", "20260403,TMAX,205,,S,")
    record = read_station(station_file(folder, text))
    assert np.isnan(record.t_max[2])
    assert record.flagged == 1


def test_hour_of_observation_by_day(folder):
    """Midnight is no morning; an hour not written is the usual one; a list outranks the file."""
    later = LONG.replace("TMAX,205,,,7,0700", "TMAX,205,,,7,2400")
    record = read_station(station_file(folder, later))
    assert record.observed_in_morning.tolist()[::2] == [True, False]
    row = 'USC00440766,"Blacksburg, Virginia",37.2,-80.41,640,no'
    (folder / "stations.csv").write_text(f"{LIST}\n{row}\n", encoding="utf-8")
    assert not read_station(station_file(folder, LONG)).observed_in_morning.any()


def test_packaged_stations_read():
    record = raw(DEMO)
    assert record.station.name == "White Oak Creek basin, Ohio"
    assert (str(record.dates[0]), str(record.dates[-1])) == ("1948-01-01", "2003-12-31")
    assert len(record) == 20454
    missing = [int(np.isnan(a).sum()) for a in (record.t_max, record.t_min, record.rain)]
    assert missing == [23, 22, 0]


# --- faults -------------------------------------------------------------------------------------


def test_every_fault_is_told_with_its_row_and_field(folder):
    text = LONG.replace("20260401,TMIN,22", "20260231,TMIN,22").replace("TMAX,205", "TMAX,20.5")
    assert problem(station_file(folder, text)) == (
        "USC00440766.csv: 2 problems\n"
        "  row 2: DATE must be a date such as 20260914 or 2026-09-14, got '20260231'.\n"
        "  row 4: VALUE must be a whole number: tenths of a degree Celsius or of a millimetre, "
        "got '20.5'."
    )


def test_other_header(folder):
    text = problem(station_file(folder, "day,high,low\n2026-04-01,66,36\n"))
    assert "row 1: the header must be ID,DATE,ELEMENT,VALUE" in text
    assert "got 'day,high,low'" in text
    assert text.startswith("USC00440766.csv: 1 problem")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "row 1: the header must be"),
        (LONG.replace("USC00440766,20260403", "USC00449999,20260403"), "ID must be one station"),
        (LONG.replace("PRCP", "SNWD"), "PRCP must be among the elements"),
        (LONG + "USC00440766,20260403,TMAX,99,,,,\n", "2026-04-03: TMAX must be the same value"),
        (HEADER.replace("ELEMENT", "ELEMENT,").replace("VALUE", "V") + "\n", "VALUE must be a"),
        (f"{HEADER}\n,20260403,TMAX,99,,,,\n", "row 2: ID must be a code"),
        (f"{HEADER}\nX,20260403,,99,,,,\n", "row 2: ELEMENT must be a code"),
        (WIDE.replace("_ATTRIBUTES", "_FLAGS"), "TMAX_ATTRIBUTES must be a column beside TMAX"),
        (WIDE.replace("38.3795", "north"), "latitude must be a number from -66 to 66"),
        ('X,2026,"' + "a" * 200_000 + '"\n', "field larger than field limit"),
    ],
    ids=[
        "empty", "two stations", "no rain", "said twice", "no value", "no code", "no element",
        "no flags", "no latitude", "endless cell",
    ],
)  # fmt: skip
def test_a_faulty_file(folder, text, told):
    assert told in problem(station_file(folder, text))


def test_many_faults_are_counted(folder):
    text = HEADER + "\n" + "X,2026-99-99,TMAX,1,,,,\n" * 400
    told = problem(station_file(folder, text))
    assert "51 problems" in told
    assert "350 more faults" in told


def test_a_station_nobody_lists(tmp_path):
    told = problem(station_file(tmp_path, LONG))
    assert 'station "USC00440766": a row must be in stations.csv beside the file' in told


def test_a_faulty_list(folder):
    row = "USC00440766,Blacksburg,372,,640,"
    (folder / "stations.csv").write_text(f"{LIST}\n{row}\n", encoding="utf-8")
    assert problem(station_file(folder, LONG)) == (
        "stations.csv: 2 problems\n"
        "  station \"USC00440766\": latitude must be a number from -66 to 66, got '372'.\n"
        '  station "USC00440766": longitude must be a number from -180 to 180, it is missing.'
    )


def test_a_list_that_says_neither_yes_nor_no(folder):
    row = "USC00440766,Blacksburg,37.2,-80.4,640,mostly"
    (folder / "stations.csv").write_text(f"{LIST}\n{row}\n", encoding="utf-8")
    told = problem(station_file(folder, LONG))
    assert "observed_in_morning must be yes, no, or blank when nobody knows, got 'mostly'" in told


def test_unreadable_files(folder):
    with pytest.raises(StoreError, match="cannot be read"):
        read_station(folder / "nowhere.csv")
    cut = folder / "cut.csv.gz"
    cut.write_bytes(gzip.compress(LONG.encode())[:-20])
    assert "must be whole UTF-8 text, plain or gzipped" in problem(cut)
    binary = folder / "binary.csv"
    binary.write_bytes(b"\xff\xfe\x00\x01" * 20)
    assert "must be whole UTF-8 text" in problem(binary)


def test_rows_survive_writing():
    """What is written is what was read, flags and hours included."""
    faults = Faults("a file")
    rows = parse(LONG, faults).rows
    faults.raise_any()
    assert parse(write(rows), faults).rows == rows
    assert len(rows) == 8


LINES = [line.split(",") for line in LONG.splitlines()]
CELLS = ["", "-", "nan", "1e9", "99999999999", "20269999", '"', "é", "TMAX", "-9999", "19260401"]
cells = st.sampled_from(CELLS)


@settings(max_examples=150, deadline=None)
@given(row=st.integers(0, 7), column=st.integers(0, 7), cell=cells)
def test_a_changed_cell_reads_or_is_explained(tmp_path_factory, row, column, cell):
    """One cell of a good file is spoiled: a record or an error in words, never a traceback."""
    folder = tmp_path_factory.mktemp("spoiled")
    (folder / "stations.csv").write_text(f"{LIST}\nUSC00440766,B,37,-80,640,\n", encoding="utf-8")
    lines = [list(line) for line in LINES]
    lines[row][column] = cell
    path = station_file(folder, "\n".join(",".join(line) for line in lines))
    found = outcome(read_station, path)
    if isinstance(found, str):
        assert found.startswith((path.name, "stations.csv"))
    else:
        assert len(found) < 40_000


def test_every_file_of_the_test_data_is_described():
    described = (DATA / "PROVENANCE.md").read_text(encoding="utf-8")
    names = {path.name for path in DATA.iterdir()} - {"PROVENANCE.md", "stations.csv"}
    normals = {name for name in names if "annualseasonal" in name}
    assert all(f"`{name}`" in described for name in names - normals)
    assert "annualseasonal_*" in described
