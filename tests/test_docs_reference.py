"""The reference pages: every command, option, table and field is found there, as it is now."""

import json
import re
from datetime import date

import click
import jsonschema
import pytest

import full_farm
import reference
from tierpole.cli import tierpole
from tierpole.errors import TierpoleError
from tierpole.scenario import read_scenario
from tierpole.scenario.model import Scenario
from tierpole.scenario.reference import tables
from tierpole.season.checks import CHECKS
from tierpole.season.remarks import REMARKS
from tierpole.units import ACRE

COMMANDS = (reference.DOCS / "commands.md").read_text(encoding="utf-8")
SCENARIO = (reference.DOCS / "scenario.md").read_text(encoding="utf-8")


def test_the_pages_are_current():
    """What `tools/reference.py` would write now is what stands in docs."""
    stale = [path.name for path, text in reference.pages() if path.read_text("utf-8") != text]
    assert stale == [], f"refresh them: {reference.REFRESH}"


@pytest.mark.parametrize("name", tierpole.commands)
def test_every_command_and_option_is_documented(name):
    """Each command has a section with its help, and every option of it is there."""
    section = COMMANDS.split(f"\n## {name}\n")[1].split("\n## ")[0]
    assert f"Usage: tierpole {name}" in section
    for parameter in tierpole.commands[name].params:
        for option in parameter.opts:
            shown = option if isinstance(parameter, click.Option) else option.upper()
            assert re.search(rf"(?<![\w-]){shown}(?![\w-])", section), option


def test_every_exit_status_is_documented():
    """The table names each status an error may leave with, but the internal 1."""
    statuses = {kind.exit_status for kind in TierpoleError.__subclasses__()} - {1}
    assert statuses == {2, 3, 4}
    for status in {0, *statuses}:
        assert f"\n| {status} | " in COMMANDS


def test_every_table_and_field_is_documented():
    """Each field stands under its table, with what it is, what it may be, and its default."""
    written = {
        ".".join(filter(None, (table.name, entry.field))): entry
        for table in tables()
        for entry in table.entries
    }
    assert len(written) > 120
    for table in tables():
        title = table.heading or "The top of the file"
        section = re.split(rf"\n##+ {re.escape(title)}\n", SCENARIO)[1].split("\n## ")[0]
        for entry in table.entries:
            assert entry.means
            row = re.search(rf"^\| `{entry.field}` \|.*$", section, re.MULTILINE)
            assert row, entry
            assert entry.allowed in row[0]
            assert ("**must be written**" in row[0]) == entry.is_required
            assert entry.left_out in row[0]


def test_the_list_of_tables_is_the_models_own():
    """No table of the models is left out of the reference, nor one in it unknown."""
    listed = {table.name.partition(".")[0] for table in tables()} - {"scenario", ""}
    assert listed | {"season", "on"} == set(Scenario.model_fields)


@pytest.mark.parametrize("check", [*CHECKS, *REMARKS], ids=lambda check: check.__name__)
def test_every_check_is_documented(check):
    first = (check.__doc__ or "").partition("\n")[0]
    assert f"\n- {first}\n" in SCENARIO


@pytest.mark.parametrize("name", ["plan", "forecast", "check", "error", "dry", "room"])
def test_schemas_are_sound_and_linked(name):
    """Each published schema is itself valid, closed to unknown keys, and named on the page."""
    schema = json.loads((reference.DOCS / f"{name}.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["additionalProperties"] is False
    assert f"({name}.schema.json)" in COMMANDS
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"format": "another"}, schema)


def test_examples_in_the_page_are_read(tmp_path):
    """What the page shows as written is read as it says."""
    shown = dict(re.findall(r"`(area|night_offset|set_on) = ([^`]+)`", SCENARIO))
    text = full_farm.edited(
        ('area = "0.5 acre"', f"area = {shown['area']}"),
        ('night_offset = "0 F"', f"night_offset = {shown['night_offset']}"),
        ("set_on = 2026-06-12", f"set_on = {shown['set_on']}"),
    )
    season = read_scenario(full_farm.write_farm(tmp_path, text))
    assert season.lots[0].area == pytest.approx(2.5 * ACRE)
    assert season.fields[0].night_offset == pytest.approx(-2 / 1.8)
    assert season.lots[0].set_on == date(2026, 6, 1)
