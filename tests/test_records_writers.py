"""Ten people at once, in one program and in several: no entry lost, none doubled."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from uuid import uuid4

import pytest

from records_books import farm_of
from records_crash import started
from tierpole.errors import StoreError
from tierpole.farm import Cut
from tierpole.farm.books import Memo
from tierpole.records import Change, Wanted, conflicts, entries, nouns, open_store, verify, write

pytest_plugins = ["records_server"]
PEOPLE, EACH = 10, 12


def test_ten_at_once_lose_and_double_nothing(store):
    """Every entry is acknowledged once as new, though each is also handed in a second time."""
    changes = {
        f"Person {n}": [Change(Memo(written_on="2026-09-01", text=f"{n}.{m}")) for m in range(EACH)]
        for n in range(PEOPLE)
    }

    def work(who):
        return [write(store, [one], who)[0] for one in changes[who] for _ in range(2)]

    with ThreadPoolExecutor(PEOPLE) as pool:
        receipts = [one for done in pool.map(work, changes) for one in done]
    new = [one for one in receipts if one.is_new]
    assert len(new) == PEOPLE * EACH
    assert sorted(one.seq for one in new) == list(range(1, PEOPLE * EACH + 1))
    written = {(one.who, one.noun.text, one.id) for one in entries(store, limit=1_000)}
    assert written == {(who, one.noun.text, one.id) for who, own in changes.items() for one in own}
    assert verify(store).is_sound


def test_ten_correcting_the_same_are_all_kept(store):
    """One is in force, the nine others wait for a decision."""
    farm_of(store)
    change = Change(Cut(lot="4 Lane", cut_on="2026-08-31", sticks=100))
    write(store, [change], who="Ann")
    ready = threading.Barrier(PEOPLE)

    def correct(number):
        better = Cut(lot="4 Lane", cut_on="2026-08-31", sticks=200 + number)
        ready.wait()
        return write(store, [Change(better, change.of, (change.id,))], f"Person {number}")[0]

    with ThreadPoolExecutor(PEOPLE) as pool:
        receipts = list(pool.map(correct, range(PEOPLE)))
    assert sum(one.is_contested for one in receipts) == PEOPLE - 1
    (conflict,) = conflicts(store)
    kept = [conflict.in_force, *conflict.rivals]
    assert sorted(one.noun.sticks for one in kept) == list(range(200, 200 + PEOPLE))


def test_ten_resending_the_same_write_it_once(store):
    """The same entry over ten connections at the same moment."""
    change = Change(Memo(written_on="2026-09-01", text="once"), id=uuid4())
    ready = threading.Barrier(PEOPLE)

    def send(_):
        ready.wait()
        return write(store, [change], who="Ann")[0].is_new

    with ThreadPoolExecutor(PEOPLE) as pool:
        assert sum(pool.map(send, range(PEOPLE))) == 1
    assert len(nouns(store, Wanted("memo"))) == 1


def test_several_programs_share_the_books(where):
    """Three programs write 30 entries each while another reads; the chain is one."""
    open_store(where, create=True).close()
    programs = [started(where, "write_few", number) for number in range(3)]
    with open_store(where) as store:
        seen = 0
        while any(program.poll() is None for program in programs):
            verdict = verify(store)
            assert verdict.is_sound
            assert verdict.entries >= seen
            seen = verdict.entries
            time.sleep(0.05)
        assert [program.communicate() for program in programs] == [("ready\ndone\n", "")] * 3
        assert verify(store).entries == 90


def test_a_reader_sees_one_moment(store):
    """Two questions inside one reading get answers of the same moment, whatever is written."""
    write(store, [Change(Memo(written_on="2026-09-01", text="one"))], who="Ann")
    with store.reading() as connection:
        count = "SELECT count(*) FROM entry"
        before = connection.exec_driver_sql(count).scalar()
        write(store, [Change(Memo(written_on="2026-09-01", text="two"))], who="Ben")
        assert connection.exec_driver_sql(count).scalar() == before == 1
    assert len(entries(store)) == 2


def test_whoever_waits_too_long_is_told(filed, monkeypatch):
    """Another program that holds the file does not hang ours for ever."""
    monkeypatch.setattr("tierpole.records.store.PATIENCE", 0.2)
    with open_store(filed.path) as other, filed.writing():
        with pytest.raises(StoreError, match="another program writes too long"):
            write(other, [Change(Memo(written_on="2026-09-01", text="x"))], who="Ann")
        with pytest.raises(StoreError, match="others write too long"):
            write(filed, [Change(Memo(written_on="2026-09-01", text="x"))], who="Ann")
