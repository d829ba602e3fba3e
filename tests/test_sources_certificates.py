"""Certificates from CSV and JSON: the same either way, and every fault of a file at once."""

import json
from decimal import Decimal

import pytest

from tierpole.errors import InputError
from tierpole.farm import TestKind
from tierpole.sources.certificates import read_certificates

HEADER = (
    "lot,laboratory,kind,sampled_on,reported_on,plants,"
    "unit,basis,moisture,total_cbd,delta9_thc,thca"
)
ROWS = (
    "2 Barn field,State laboratory,official,2026-09-08,2026-09-14,3,%,dry,,7.10,0.05,0.250",
    "",
    "6 South bottom,North lab,pre-test,2026-09-01,2026-09-04,5,mg/g,as received,10.0,55,ND,1.8",
)


def as_objects():
    names = HEADER.split(",")
    return [dict(zip(names, row.split(","), strict=True)) for row in ROWS if row]


def written(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def test_csv_and_json_limits(tmp_path):
    """Both forms give the same certificates, numbers as text or not, with their printed digits."""
    csv = read_certificates(written(tmp_path / "coa.csv", "\n".join((HEADER, *ROWS))))
    objects = as_objects()
    plain = read_certificates(written(tmp_path / "coa.json", json.dumps(objects)))
    for each in objects:
        each["plants"] = int(each["plants"])
        each["total_cbd"] = float(each["total_cbd"])
        each["moisture"] = each["moisture"] or None
    numbers = read_certificates(written(tmp_path / "coa2.json", json.dumps(objects)))
    assert csv == plain
    assert [each.total_cbd for each in numbers] == [each.total_cbd for each in csv]
    first, second = csv
    assert first.kind is TestKind.OFFICIAL
    assert first.total_thc.share == Decimal("0.0026925")
    assert float(second.total_cbd.share) == pytest.approx(0.055 / 0.9)
    assert "dry weight by the printed moisture of 10 %" in second.notes


def test_one_object_limits(tmp_path):
    """A file with a single certificate need not be a list."""
    one = read_certificates(written(tmp_path / "one.json", json.dumps(as_objects()[0])))
    assert len(one) == 1


def test_faults_limits(tmp_path):
    """Faults of reading and of content come together, with their places."""
    rows = (
        "2 Barn field,State laboratory,official,8 Sep,2026-09-14,3,%,dry,,7.1,0.05,0.25",
        "2 Barn field,,offical,2026-09-08,2026-09-14,0,ppm,wet,,7.1,0.05,0.25",
        "2 Barn field,State laboratory,official,2026-09-08,2026-09-14,3,%,dry,,171,0.05,0.25",
    )
    with pytest.raises(InputError) as caught:
        read_certificates(written(tmp_path / "coa.csv", "\n".join((HEADER, *rows))))
    assert str(caught.value).splitlines() == [
        "coa.csv: 7 problems",
        "  row 2: sampled_on must be a date such as 2026-09-14, got '8 Sep'.",
        "  row 3: laboratory must be a name, it is missing.",
        (
            '  row 3: kind must be one of "pre-test", "official", "post-remediation", "final", '
            "got 'offical'."
        ),
        '  row 3: unit must be one of "%", "mg/g", got \'ppm\'.',
        '  row 3: basis must be one of "dry", "as received", got \'wet\'.',
        "  row 3: plants must be a whole number, 1 or more, got '0'.",
        "  row 4: total_cbd must be at most 100 %, got '171 %'. Is the unit right?",
    ]


def test_header_faults_limits(tmp_path):
    """A missing or unknown column is named."""
    header = HEADER.replace("plants", "tops")
    with pytest.raises(InputError) as caught:
        read_certificates(written(tmp_path / "coa.csv", "\n".join((header, ROWS[0]))))
    text = str(caught.value)
    assert "the header: plants must be a column, it is missing." in text
    assert "got 'tops'" in text


def test_broken_json_limits(tmp_path):
    """What is not JSON, or not an object, is said with its line or its number."""
    with pytest.raises(InputError, match="line 1"):
        read_certificates(written(tmp_path / "coa.json", "[{]"))
    with pytest.raises(InputError, match="certificate 1 must be an object"):
        read_certificates(written(tmp_path / "coa.json", '["7.1 %"]'))
    with pytest.raises(InputError, match="color"):
        read_certificates(
            written(tmp_path / "coa.json", json.dumps([{**as_objects()[0], "color": 1}]))
        )
