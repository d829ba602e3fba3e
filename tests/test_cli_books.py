"""Books on the command line: in, out, kept safe, checked, and planned from like a scenario."""

import sqlite3

import pytest
from click.testing import CliRunner

from full_farm import write_farm
from records_books import same, scenario
from tierpole.cli import commands, tierpole
from tierpole.farm import Cut
from tierpole.office import FarmOffice
from tierpole.office.sources import read_source
from tierpole.records import Change, open_store, write
from tierpole.scenario import read_scenario

pytest_plugins = ["records_server"]


def call(*arguments):
    return CliRunner().invoke(tierpole, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """Books made from the scenario that writes every field."""
    folder = tmp_path_factory.mktemp("books")
    done = call("import", write_farm(folder), folder / "farm.db", "--keep-day", "--who", "Ann")
    assert done.exit_code == 0, done.output
    assert done.stdout.endswith(f"Look at them with: tierpole serve {folder}/farm.db\n")
    return folder / "farm.db"


def test_scenario_limits_out_of_the_books(farm, tmp_path):
    """A scenario that is exported is the season read from the books, in either units."""
    kept = read_source(str(farm))
    assert same(kept, read_scenario(farm.with_name("farm.toml")))
    for units in ("us", "metric"):
        target = tmp_path / f"{units}.toml"
        said = call("export", farm, target, "--units", units)
        assert said.exit_code == 0, said.output
        assert "with station.csv, stations.csv, forecast.csv, late.toml beside it" in said.stdout
        assert same(read_scenario(target), kept)


def test_scenario_limits_demo(tmp_path):
    """The demo in books is the demo."""
    assert call("import", "demo", tmp_path / "demo.db").exit_code == 0
    assert same(read_source(str(tmp_path / "demo.db")), scenario()[2])


def test_package_limits(farm, tmp_path):
    """Through an open package and a backup the books stay the same, to the last link."""
    seal = call("verify", farm).stdout.splitlines()[-1].removeprefix("Seal: ")
    package, again = tmp_path / "farm.zip", tmp_path / "again.db"
    assert call("export", farm, package).exit_code == 0
    assert call("import", package, again).exit_code == 0
    copy, restored = tmp_path / "copy.db", tmp_path / "restored.db"
    assert call("backup", again, copy).exit_code == 0
    assert call("restore", copy, restored).exit_code == 0
    assert call("verify", restored, "--seal", seal).stdout.endswith(f"Seal: {seal}\n")
    assert same(read_source(str(restored)), read_source(str(farm)))


def test_server_limits(farm, where, tmp_path):
    """A database by its address is taken wherever a file is."""
    package = tmp_path / "farm.zip"
    call("export", farm, package)
    done = call("import", package, where)
    assert done.exit_code == 0, done.output
    assert same(read_source(where), read_source(str(farm)))
    assert (
        call("check", where).stdout.splitlines()[1:]
        == (call("check", farm).stdout.splitlines()[1:])
    )


def test_check_limits(farm):
    """Books are checked like the scenario they came from, and on another day."""
    of_books, of_file = call("check", farm), call("check", farm.with_name("farm.toml"))
    assert (of_books.exit_code, of_file.exit_code) == (0, 0)
    assert of_books.stdout == of_file.stdout
    assert "seen on Sunday 30 August" in call("check", farm, "--on", "2026-08-30").stdout


def test_plan_and_serve_take_books(farm, monkeypatch):
    """`plan` works through the season of the books; `serve` opens the office that takes entries."""
    seen = []

    class Seen(Exception):  # noqa: N818 - only to end the command
        """What was asked for has been seen."""

    def stop(season, *_):
        seen.append(season)
        raise Seen

    monkeypatch.setattr(commands, "office_of", stop)
    assert isinstance(call("plan", farm).exception, Seen)
    assert same(seen[0], read_source(str(farm)))
    monkeypatch.setattr(commands, "_serve_pages", lambda office, *_: stop(office))
    monkeypatch.setattr(FarmOffice, "start", lambda _: None)
    assert isinstance(call("serve", farm).exception, Seen)
    assert isinstance(seen[1], FarmOffice)
    seen[1].store.close()


def test_verify_names_the_first_broken_link(farm, tmp_path):
    """Status 3 and the entry, with who made it; a seal that is not in the chain is told too."""
    spoilt = tmp_path / "spoilt.db"
    call("backup", farm, spoilt)
    with sqlite3.connect(spoilt) as books:
        books.execute("UPDATE entry SET payload = replace(payload, 'Bank', 'Bonk') WHERE seq > 6")
    found = call("verify", spoilt)
    assert found.exit_code == 3
    assert "by Ann" in found.stderr
    assert "was changed after it was written" in found.stderr
    sealed = call("verify", farm, "--seal", f"1:{'0' * 64}")
    assert (sealed.exit_code, "another than the one sealed" in sealed.stderr) == (3, True)


@pytest.mark.parametrize(
    ("typed", "status", "told"),
    [
        (["export", "{farm}", "{farm}"], 2, "is there already"),
        (["backup", "{farm}", "{farm}"], 2, "is there already"),
        (["restore", "{farm}", "{farm}"], 2, "is there already"),
        (["import", "{folder}/farm.toml", "{farm}"], 2, "one the books do not hold yet"),
        (["import", "{folder}/none.toml", "{folder}/none.db"], 2, "cannot be read"),
        (["verify", "{folder}/none.db"], 2, "there is no such file"),
        (["verify", "{folder}/station.csv"], 2, "is something else"),
        (["verify", "{farm}", "--seal", "7"], 2, "a seal is a number"),
        (["check", "mysql://x/y"], 2, "must be a file, or begin with postgresql://"),
    ],
)
def test_refusals(farm, typed, status, told):
    """What would overwrite, or is not there, is refused in words; nothing is made or changed."""
    before = farm.read_bytes(), sorted(farm.parent.iterdir())
    result = call(*(text.format(farm=farm, folder=farm.parent) for text in typed))
    assert result.exit_code == status
    assert told in result.stderr
    assert "Traceback" not in result.output
    assert (farm.read_bytes(), sorted(farm.parent.iterdir())) == before


def test_books_that_contradict_themselves_are_named(tmp_path):
    """A cut of more sticks than stand is found in the books as in a scenario."""
    path = write_farm(tmp_path)
    assert call("import", path, tmp_path / "farm.db", "--keep-day").exit_code == 0
    with open_store(tmp_path / "farm.db") as store:
        write(store, [Change(Cut(lot="2 Bank", cut_on="2026-09-09", sticks=90_000))], who="Ann")
    found = call("check", tmp_path / "farm.db")
    assert found.exit_code == 2
    assert "cuts[" in found.stderr
    assert "90000" in found.stderr
