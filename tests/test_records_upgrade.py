"""Books of every released schema, with data, open in this one; no other file is touched.

``tests/data/records/<release>.sql`` is a dump of books as that release wrote them: a season, a
correction, a conflict, a withdrawal and a photo. It is never made again; a new release adds one:

    python tests/test_records_upgrade.py
"""

import gzip
import sqlite3
import sys
import tempfile
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from records_books import attach, same, scenario
from tierpole.errors import StoreError
from tierpole.farm import Cut
from tierpole.farm.books import Bag, Memo
from tierpole.records import (
    Change,
    Seal,
    Wanted,
    conflicts,
    history,
    import_season,
    nouns,
    open_store,
    read_content,
    read_season,
    seal,
    verify,
    write,
)
from tierpole.records.schema import RELEASE, tables

pytest_plugins = ["records_server"]
DUMPS = sorted((Path(__file__).parent / "data" / "records").glob("*.sql"))
FIRST, SECOND, THIRD = (UUID(int=n) for n in (1, 2, 3))


def restored(dump, path):
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(dump.read_text(encoding="utf-8"))
    return path


@pytest.mark.parametrize("dump", DUMPS, ids=lambda dump: dump.stem)
def test_books_of_a_released_schema(dump, tmp_path):
    """Brought up to date, the chain is the one it was, and everything can be read."""
    path = restored(dump, tmp_path / "old.db")
    with closing(sqlite3.connect(path)) as connection:
        said = connection.execute("SELECT seq, hash FROM head").fetchone()
    with open_store(path) as store:
        assert seal(store) == Seal(*said)
        assert verify(store, [Seal(*said)]).is_sound
        assert read_season(store).farm.name == "Tanner Fork"
        assert [one.noun.sticks for one in history(store, FIRST)] == [20, 21, 22]
        assert [one.rivals[0].noun.sticks for one in conflicts(store)] == [22]
        assert nouns(store, Wanted("memo")) == []
        (photo,) = nouns(store, Wanted("attachment"))
        assert read_content(store, photo.noun.content) == b"a photo"
        write(store, [Change(Memo(written_on="2026-11-01", text="went on"))], who="Ann")
        assert verify(store).is_sound


def test_every_release_has_its_dump():
    assert {dump.stem for dump in DUMPS} >= {RELEASE}


def test_the_scripts_make_the_tables_of_the_code(store):
    """Alembic, comparing, finds nothing to do."""
    with store.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, tables) == []


def test_books_of_a_newer_release_are_left_alone(store):
    with store.writing() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(StoreError) as caught:
        open_store(store.path or store.url.render_as_string(hide_password=False))
    assert str(caught.value) == f"{store}: was written by a newer Tierpole (9999). Update yours."


def test_what_is_no_book_is_left_alone(tmp_path):
    """A file of something else, a database of something else, nothing at all."""
    text = tmp_path / "letter.txt"
    text.write_text("Dear Ben, " * 1_000)
    other = tmp_path / "other.db"
    sqlite3.connect(other).execute("CREATE TABLE stamps (id)").connection.close()
    before = text.read_bytes(), other.read_bytes()
    for path, told in (
        (text, "The books could not be read, for the file is something else. "),
        (other, "is something else, not a farm's books."),
        (tmp_path / "none.db", "there is no such file. Look at its name, or make new books."),
    ):
        with pytest.raises(StoreError) as caught:
            open_store(path)
        assert str(caught.value).startswith(f"{path}: {told}")
    assert (text.read_bytes(), other.read_bytes()) == before
    assert not (tmp_path / "none.db").exists()


@pytest.mark.parametrize(
    ("where", "told"),
    [
        ("mysql://here/farm", "must be a file, or begin with postgresql://."),
        ("postgresql://127.0.0.1:1/farm", "The books could not be read, for the server does not "),
        ("://", "is not an address of a database."),
    ],
)
def test_an_address_that_is_none(where, told):
    with pytest.raises(StoreError, match=told):
        open_store(where)


def test_a_password_is_not_shown(server):
    """Errors are printed and logged."""
    where = server.new().replace("farm@", "nobody:secret@")
    with pytest.raises(StoreError) as caught:
        open_store(where)
    assert "secret" not in str(caught.value)


def make_dump(path):
    """Books as this release writes them, as SQL."""
    _, whole, _, files = scenario()
    files = replace(files, station=few_years(files.station, path.parent))
    at = datetime(2026, 9, 2, 12, tzinfo=UTC)
    with open_store(path, create=True) as store:
        import_season(store, whole, files, who="Ann", keep_day=True)
        cuts = [Cut(lot="4 Lane", cut_on="2026-09-01", sticks=sticks) for sticks in (20, 21, 22)]
        memo = Change(Memo(written_on="2026-09-01", text="wrong"))
        bag = Bag(name="17", lot="4 Lane", filled_on="2026-09-02", mass="20 lb", moisture="11 %")
        changes = [
            Change(cuts[0], id=FIRST),
            Change(cuts[1], FIRST, (FIRST,), "recount", id=SECOND),
            Change(cuts[2], FIRST, (FIRST,), "recount", id=THIRD),
            memo,
            Change(None, memo.of, (memo.id,), "other farm"),
            Change(bag),
        ]
        write(store, changes, "Ann", at)
        attach(store, b"a photo", "barn.jpg", "image/jpeg", who="Ann", added_on=at.date())
        assert same(read_season(store).lots, whole.lots)
    with closing(sqlite3.connect(path)) as connection:
        return "\n".join(connection.iterdump())


def few_years(station, folder):
    """A station's record cut down to three years, as a file of its own in a folder."""
    with gzip.open(station, "rt", encoding="utf-8") as file:
        header, *rows = file.readlines()
    kept = [row for row in rows if row.split(",")[1][:4] in ("1995", "1996", "1997")]
    path = folder / station.name
    path.write_bytes(gzip.compress("".join([header, *kept]).encode(), mtime=0))
    (folder / "stations.csv").write_bytes(station.with_name("stations.csv").read_bytes())
    return path


if __name__ == "__main__":
    new = Path(__file__).parent / "data" / "records" / f"{RELEASE}.sql"
    if new.exists():
        sys.exit(f"{new} is there; a dump is never made again")
    with tempfile.TemporaryDirectory() as folder:
        new.write_text(make_dump(Path(folder) / "farm.db") + "\n", encoding="utf-8")
