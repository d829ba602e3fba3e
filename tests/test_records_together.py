"""Writers who share a transaction: each is answered for its own, after the disk has it."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from uuid import UUID

import pytest

from tierpole.errors import InputError, StoreError
from tierpole.farm.books import Memo
from tierpole.records import Change, entries, entries_named, open_store, verify, write_with
from tierpole.records import store as store_module

pytest_plugins = ["records_server"]


def memo(number, lot=None):
    return Change(Memo(written_on="2026-09-01", text=f"{number}", lot=lot), id=UUID(int=number))


def counted(store):
    """How often the store begins a transaction that writes."""
    begun = []
    whole = store._transaction

    def counting():
        begun.append(1)
        return whole()

    store._transaction = counting
    return begun


@pytest.fixture(params=["file", "server"])
def books(request, tmp_path):
    where = tmp_path / "farm.db" if request.param == "file" else None
    where = where or request.getfixturevalue("server").new()
    with open_store(where, create=True) as store:
        yield store


def waiting(store, changes):
    """Each change handed in by a thread of its own while somebody else writes; their outcomes."""

    def one(change):
        try:
            return write_with(store, [change], [], "Ann")[0]
        except InputError as error:
            return error

    with ThreadPoolExecutor(len(changes)) as threads:
        with store._turn:
            handed = [threads.submit(one, change) for change in changes]
            while len(store._waiting) < len(changes):
                threading.Event().wait(0.01)
        return [each.result() for each in handed]


def test_those_who_wait_share_one_transaction(books):
    begun = counted(books)
    receipts = waiting(books, [memo(number) for number in range(1, 11)])
    assert len(begun) == 1
    found = entries(books, limit=100)
    assert sorted(one.seq for one in receipts) == [one.seq for one in found] == list(range(1, 11))
    assert {one.id for one in found} == {one.entry for one in receipts}
    assert verify(books).is_sound


def test_the_same_entry_twice_in_one_transaction_is_written_once(books):
    receipts = waiting(books, [memo(1), memo(2), memo(1)])
    assert sorted(one.is_new for one in receipts) == [False, True, True]
    assert len(entries(books)) == 2


def test_a_fault_of_one_is_told_to_that_one_alone(books):
    found = waiting(books, [memo(1), memo(2, lot="no such lot"), memo(3)])
    assert [isinstance(one, InputError) for one in found] == [False, True, False]
    assert len(entries_named(books, [UUID(int=1), UUID(int=3)])) == len(entries(books)) == 2
    assert verify(books).is_sound


def test_whoever_waits_too_long_gives_up_and_nothing_of_it_is_written(books, monkeypatch):
    monkeypatch.setattr(store_module, "PATIENCE", 0.05)
    with books._turn, pytest.raises(StoreError, match="others write too long"):
        write_with(books, [memo(1)], [], "Ann")
    write_with(books, [memo(2)], [], "Ann")
    assert [one.id.int for one in entries(books)] == [2]


def test_what_is_read_inside_a_reading_is_of_its_moment(books):
    """Whoever writes meanwhile, and wherever else it is read; afterwards there is a new moment."""
    with books.reading():
        assert entries(books) == []
        with ThreadPoolExecutor(1) as threads:
            threads.submit(write_with, books, [memo(1)], [], "Ann").result()
            assert len(threads.submit(entries, books).result()) == 1
        assert entries(books) == []
    assert len(entries(books)) == 1


def test_what_was_not_read_to_its_end_holds_no_moment(tmp_path):
    """Rows that somebody still holds, as a fault half-way does, do not lock out who writes next.

    A connection of SQLite with rows left to give keeps seeing what it saw, and may not write.
    """
    path = tmp_path / "farm.db"
    with open_store(path, create=True) as books, open_store(path) as other:
        write_with(books, [memo(1), memo(2)], [], "Ann")
        with books.reading() as connection:
            rows = connection.exec_driver_sql("SELECT seq FROM entry ORDER BY seq")
            assert rows.fetchmany(1) == [(1,)]
        write_with(other, [memo(3)], [], "Ben")
        assert len(entries(books)) == 3
        write_with(books, [memo(4)], [], "Ann")
        assert len(entries(other)) == 4
        rows.close()


def test_a_reading_that_fails_leaves_none_behind(books):
    """What is read next is read at its own moment."""
    with pytest.raises(InputError), books.reading():
        raise InputError("books", [])
    write_with(books, [memo(1)], [], "Ann")
    assert len(entries(books)) == 1
