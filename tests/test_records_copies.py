"""Backups of books in use, and books made again from them, from either kind into either."""

import shutil
import sqlite3
import threading

import pytest

from records_books import attach, farm_of, same, scenario
from test_records_upgrade import DUMPS, restored
from tierpole.errors import StoreError
from tierpole.farm.books import Memo
from tierpole.records import (
    Change,
    backup,
    entries,
    import_season,
    open_store,
    read_season,
    restore,
    seal,
    verify,
    write,
)

pytest_plugins = ["records_server"]


def memo(text="x"):
    return Change(Memo(written_on="2026-09-01", text=text))


def test_a_backup_is_the_books_of_one_moment(store, tmp_path):
    """Whole, sound, in order, though others write all the while; and it can itself be opened."""
    farm_of(store)
    stop = threading.Event()

    def write_on():
        while not stop.is_set():
            write(store, [memo(), memo()], who="Ben")

    writer = threading.Thread(target=write_on)
    writer.start()
    try:
        copies = [backup(store, tmp_path / f"{number}.db") for number in range(3)]
    finally:
        stop.set()
        writer.join()
    found = []
    for path in copies:
        with open_store(path) as copy:
            assert verify(copy).is_sound
            found.append(seal(copy))
    numbers = [one.seq for one in found]
    assert numbers == sorted(numbers)
    assert all(number % 2 == 0 for number in numbers)  # pairs are written together
    assert verify(store, found).is_sound


def test_books_go_from_a_file_to_a_server_and_back(filed, server, tmp_path):
    """Season, photo, chain: a farm that outgrows its file moves by backup and restore."""
    _, whole, _, files = scenario()
    import_season(filed, whole, files, who="Ann", keep_day=True)
    attach(filed, b"\x00\xff", "a.jpg", "image/jpeg", who="Ann", lot="4 Lane")
    backup(filed, tmp_path / "backup.db")
    address = server.new()
    restore(tmp_path / "backup.db", address)
    with open_store(address) as there:
        assert (seal(there), verify(there).is_sound) == (seal(filed), True)
        assert same(read_season(there), read_season(filed))
        write(there, [memo()], who="Ben")
        backup(there, tmp_path / "back.db")
        with open_store(tmp_path / "back.db") as back:
            assert entries(back, limit=100) == entries(there, limit=100)
            assert verify(back, [seal(filed)]).is_sound
    with pytest.raises(StoreError, match="is not empty"):
        restore(tmp_path / "backup.db", address)


@pytest.mark.parametrize("dump", DUMPS, ids=lambda dump: dump.stem)
def test_an_old_backup_is_restored_into_a_server(dump, server, tmp_path):
    """A backup of any release; opening brings it up to date."""
    path = restored(dump, tmp_path / "old.db")
    address = server.new()
    verdict = restore(path, address)
    with open_store(address, backups=tmp_path) as store:
        assert (seal(store), verify(store).is_sound) == (verdict.seal, True)


def test_books_that_are_there_are_replaced_only_when_asked_and_kept(filed, tmp_path):
    write(filed, [memo("before")], who="Ann")
    saved = backup(filed, tmp_path / "backup.db")
    old = seal(filed)
    write(filed, [memo("after")], who="Ann")
    new, path = seal(filed), filed.path
    with pytest.raises(StoreError, match=r"is there already\. Ask for it to be replaced"):
        restore(saved, path)
    with pytest.raises(StoreError, match=r"is open in another program\. Stop it first"):
        restore(saved, path, replace=True)
    filed.close()
    assert restore(saved, path, replace=True).seal == old
    (aside,) = tmp_path.glob("farm-before-restore-*.db")
    for where, sealed in ((path, old), (aside, new)):
        with open_store(where) as store:
            assert seal(store) == sealed


def test_damaged_books_are_replaced_by_their_backup(filed, tmp_path):
    """What a failing disk left is kept aside as it is."""
    write(filed, [memo(f"{number}") for number in range(200)], who="Ann")
    saved, sealed, path = backup(filed, tmp_path / "backup.db"), seal(filed), filed.path
    filed.close()
    broken = bytearray(path.read_bytes())
    broken[4096 : len(broken) : 7] = bytes(len(broken[4096 : len(broken) : 7]))
    path.write_bytes(broken)
    with pytest.raises(StoreError) as caught:
        open_store(path)
    assert str(caught.value) == (
        f"{path}: The books could not be read, for the file is damaged. "
        "Restore the last backup, and keep this file."
    )
    restore(saved, path, replace=True)
    with open_store(path) as store:
        assert (seal(store), verify(store).is_sound) == (sealed, True)
    (aside,) = tmp_path.glob("farm-before-restore-*.db")
    assert aside.read_bytes() == bytes(broken)


def test_a_backup_that_was_changed_is_not_trusted(filed, tmp_path):
    farm_of(filed)
    saved = backup(filed, tmp_path / "backup.db")
    with sqlite3.connect(saved) as connection:
        connection.execute("UPDATE entry SET who = 'Ben' WHERE seq = 2")
    connection.close()
    with pytest.raises(StoreError, match=r"cannot be trusted: entry 2 .* was changed after it was"):
        restore(saved, tmp_path / "new.db")
    assert not (tmp_path / "new.db").exists()


def test_what_is_no_backup_is_refused(tmp_path):
    with pytest.raises(StoreError, match="there is no such file"):
        restore(tmp_path / "none.db", tmp_path / "new.db")
    sqlite3.connect(tmp_path / "empty.db").execute("PRAGMA user_version = 1")
    with pytest.raises(StoreError, match="is empty, not a backup"):
        restore(tmp_path / "empty.db", tmp_path / "new.db")


def test_a_farm_is_one_file_that_can_be_copied(filed, tmp_path):
    """Closed, the books are one file and nothing beside it."""
    farm_of(filed)
    sealed = seal(filed)
    filed.close()
    assert [one.name for one in tmp_path.iterdir()] == ["farm.db"]
    shutil.copy(filed.path, tmp_path / "copy.db")
    with open_store(tmp_path / "copy.db") as copy:
        assert (seal(copy), verify(copy).is_sound) == (sealed, True)


def test_a_backup_does_not_write_over_anything(filed, tmp_path):
    (tmp_path / "there.db").write_text("mine")
    with pytest.raises(StoreError, match=r"there\.db: is there already"):
        backup(filed, tmp_path / "there.db")
    with pytest.raises(StoreError, match="nowhere"):
        backup(filed, tmp_path / "nowhere" / "b.db")
    assert (tmp_path / "there.db").read_text() == "mine"
