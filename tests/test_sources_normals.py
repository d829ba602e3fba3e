"""NOAA's normals: codes for no date, and files that are none."""

import pytest

from tierpole.errors import InputError
from tierpole.sources import read_freeze_normals


def test_faulty_normals(tmp_path):
    """Codes for "no such date" are none; other words, and other files, are faults."""
    path = tmp_path / "normals.csv"
    name = "ANN-TMIN-PRBFST-T32FP50"
    path.write_text(f"STATION,NAME,{name}\nX,Somewhere,  -4444\n")
    assert read_freeze_normals(path).dates == {("fall", 32, 0.5): None}
    path.write_text(f"STATION,NAME,{name}\nX,Somewhere,13/41\n")
    with pytest.raises(InputError, match=f"row 2: {name} must be a date such as 09/23"):
        read_freeze_normals(path)
    path.write_text("STATION,NAME\nX,Somewhere\n")
    with pytest.raises(InputError, match="among the columns"):
        read_freeze_normals(path)
    path.write_text("")
    with pytest.raises(InputError, match="a header with one row of normals"):
        read_freeze_normals(path)
