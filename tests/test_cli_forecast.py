"""The potency forecast and what a season taught, on the command line."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner

from full_farm import write_farm
from tierpole.cli import tierpole
from tierpole.sources import read_learnt

DOCS = Path(__file__).parent.parent / "docs"
FEW = ("--draws", "60")


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    return str(write_farm(tmp_path_factory.mktemp("forecast")))


def call(*arguments):
    return CliRunner().invoke(tierpole, arguments, catch_exceptions=False)


def test_every_lot_stands_in_a_line_with_its_tests(farm):
    result = call("forecast", farm, *FEW)
    assert result.exit_code == 0
    text = result.stdout
    assert "1 River" in text
    assert "2 Bank, 3 Sep, pre-test: under 0.05 % THC" in text
    assert "HOW FAR TO TRUST IT" in text
    assert "ONE MORE TEST" not in text
    assert "not an official sample" in " ".join(text.split())


def test_one_lot_week_by_week(farm):
    text = call("forecast", farm, "--lot", "2 Bank", *FEW).stdout
    assert "2 BANK, WEEK BY WEEK" in text
    assert "Thu 10 Sep" in text
    assert "Thu 17 Sep" in text
    assert "1 River," not in text


def test_a_lot_that_is_not_there_is_named(farm):
    result = call("forecast", farm, "--lot", "9 Moon", *FEW)
    assert result.exit_code == 2
    assert "--lot must be one of 1 River, 2 Bank, got '9 Moon'" in result.stderr


def test_as_json_by_its_schema(farm):
    """The document holds to its schema; bands are in order and chances are chances."""
    told = json.loads(call("forecast", farm, "--format", "json", *FEW).stdout)
    schema = json.loads((DOCS / "forecast.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(told, schema)
    for lot in told["lots"]:
        assert all(0 <= sample["p_pass"] <= 1 for sample in lot["samples"])
        for day in lot["days"]:
            thc = day["total_thc"]
            assert thc["low"] <= thc["median"] <= thc["high"]


def test_worth_plans_the_season_too(farm):
    result = call("forecast", farm, "--worth", "--seconds", "1", *FEW)
    assert result.exit_code == 0
    assert "ONE MORE TEST" in result.stdout
    assert "to know the truth for certain" in " ".join(result.stdout.split())


def test_what_was_learnt_is_read_again(farm, tmp_path):
    """A learning file written and read is the same; two pooled count both farms' tests once."""
    one = tmp_path / "one.toml"
    assert call("learn", farm, "Late", "--out", str(one), *FEW).exit_code == 0
    learnt = read_learnt(one)
    assert (learnt.variety, learnt.seasons) == ("Late", (2025, 2026))
    assert learnt.tests > 6
    both = tmp_path / "both.toml"
    assert call("pool", str(one), str(one), "--out", str(both)).exit_code == 0
    pooled = read_learnt(both)
    assert (pooled.farms, pooled.tests) == (2, 2 * learnt.tests)
    assert pooled.prior.site_plateau_sd > 0


def test_varieties_do_not_mix(farm, tmp_path):
    """Files of two varieties are not pooled; a variety without a test taught nothing."""
    one, two = tmp_path / "one.toml", tmp_path / "two.toml"
    text = call("learn", farm, "Late", *FEW).stdout
    one.write_text(text, encoding="utf-8")
    two.write_text(text.replace('"Late"', '"Other"'), encoding="utf-8")
    result = call("pool", str(one), str(two))
    assert result.exit_code == 2
    assert "variety must be one variety, got 'Late, Other'" in result.stderr
    result = call("learn", farm, "Nobody", *FEW)
    assert "VARIETY must be one of Quick, Late" in result.stderr


def test_a_spoilt_learning_file_names_every_fault(farm, tmp_path):
    one = tmp_path / "one.toml"
    text = call("learn", farm, "Late", *FEW).stdout
    one.write_text(text.replace('variety = "Late"', "variety = 7").replace("tests = ", "tests = -"))
    result = call("pool", str(one))
    assert result.exit_code == 2
    assert "one.toml: 2 problems" in result.stderr
