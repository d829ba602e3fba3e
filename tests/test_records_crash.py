"""Killed, out of room or not allowed to write: what was acknowledged is there, nothing is half."""

import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import contextmanager
from pathlib import Path
from uuid import UUID

import pytest

from records_books import farm_of
from records_crash import started
from tierpole.errors import StoreError
from tierpole.farm.books import AirReading, Memo
from tierpole.records import (
    Change,
    Wanted,
    backup,
    entries,
    export_package,
    history,
    import_package,
    nouns,
    open_store,
    restore,
    seal,
    seasons,
    verify,
    write,
)
from tierpole.records.schema import RELEASE

pytest_plugins = ["records_server"]
HERE = Path(__file__).parent


@contextmanager
def running(where, action, argument, **options):
    """The writing program, started and ready; killed at the end in any case."""
    program = started(where, action, argument, **options)
    try:
        assert program.stdout.readline() == "ready\n", program.stderr.read()
        yield program
    finally:
        program.kill()
        program.communicate()


def memos(numbers):
    return [
        Change(Memo(written_on="2026-09-01", text=f"memo {n}"), id=UUID(int=n)) for n in numbers
    ]


def filled(where, number=2_000):
    """Books of some size: a farm and readings."""
    with open_store(where, create=True) as store:
        farm_of(store)
        air = AirReading(place="Frame", read_on="2026-09-01", read_at="06:00", temperature=20.0,
                         humidity=0.6)  # fmt: skip
        write(store, (Change(air) for _ in range(number)), who="logger")
        return seal(store)


# --- killed while it writes -----------------------------------------------------------------------


@pytest.mark.parametrize("acknowledged", [1, 150])
def test_killed_during_500_writes(where, acknowledged):
    """SIGKILL at any moment: every acknowledged entry is there, no other half, the chain holds."""
    open_store(where, create=True).close()
    with running(where, "write_memos", 1) as program:
        said = [int(program.stdout.readline()) for _ in range(acknowledged)]
        time.sleep(0.001 * acknowledged)  # somewhere inside the next ones
        program.send_signal(signal.SIGKILL)
        said += [int(line) for line in program.stdout.read().splitlines() if line.isdigit()]
    with open_store(where) as store:
        found = entries(store, limit=1_000)
        assert verify(store).is_sound
        assert [one.id.int for one in found] == list(range(1, len(found) + 1))
        assert len(said) <= len(found) <= len(said) + 1  # one may be kept whose answer was lost
        assert len(nouns(store, Wanted("attachment"))) == len(found) // 5
        # the program starts again and resends what it does not know of
        with running(where, "write_memos", len(said) + 1) as program:
            assert program.stdout.readline() == f"{len(said) + 1}\n"
        assert verify(store).is_sound


def test_the_server_crashes_under_the_writer(server):
    """PostgreSQL stopped as by a power cut: what was acknowledged is there when it starts."""
    where = server.new()
    open_store(where, create=True).close()
    with running(where, "write_memos", 1) as program:
        said = [int(program.stdout.readline()) for _ in range(60)]
        server.crash()
        out, err = program.communicate()
        said += [int(line) for line in out.splitlines() if line.isdigit()]
    server.start()
    assert "Nothing was written, for" in err
    with open_store(where) as store:
        found = [one.id.int for one in entries(store, limit=1_000)]
        assert found[: len(said)] == said
        assert len(found) <= len(said) + 1
        assert verify(store).is_sound


def test_killed_while_a_season_is_put_in(where):
    """All of it or nothing: no lot without its farm, and it can be put in again."""
    open_store(where, create=True).close()
    for wait in (0.0, 0.012):
        with running(where, "season", "") as program:
            time.sleep(wait)
            program.send_signal(signal.SIGKILL)
        with open_store(where) as store:
            found = len(entries(store, limit=1_000))
            assert (found, seasons(store)) in ((0, []), (41, [2026]), (found, [2026]))
            assert found == 0 or found > 30
            assert verify(store).is_sound
        if found:
            break


@pytest.mark.parametrize("wait", [0.0, 0.03])
def test_killed_during_backup_restore_and_unpacking(tmp_path, wait):
    """The target is not there, or it is whole; the books themselves are as they were."""
    books = tmp_path / "farm.db"
    sealed = filled(books)
    with open_store(books) as store:
        whole = backup(store, tmp_path / "whole.db")
        package = export_package(store, tmp_path / "farm.zip")
    for action, where, argument, made in (
        ("backup", books, tmp_path / "new.db", tmp_path / "new.db"),
        ("unpack", tmp_path / "again.db", package, tmp_path / "again.db"),
        ("replace", books, whole, books),
    ):
        with running(where, action, argument) as program:
            time.sleep(wait)
            program.send_signal(signal.SIGKILL)
        for path in {made, books}:
            if path == books or path.exists():
                with open_store(path) as store:
                    assert seal(store) == sealed, action
                    assert verify(store).is_sound, action


# --- killed while tables change -------------------------------------------------------------------

NEWER = f'''"""A script of a release to come: slow, and in many steps."""

import time
import sqlalchemy as sa
from alembic import op

revision, down_revision, branch_labels, depends_on = "9999", "{RELEASE}", None, None


def upgrade():
    op.add_column("entry", sa.Column("weight", sa.Integer))
    for number in range(20):
        op.create_table(f"later_{{number}}", sa.Column("id", sa.Integer, primary_key=True))
        op.execute("UPDATE entry SET weight = coalesce(weight, 0) + 1")
        time.sleep(0.02)
'''


@pytest.fixture
def newer(tmp_path):
    """Scripts with one more release than ours."""
    folder = tmp_path / "scripts"
    shutil.copytree(HERE.parent / "src" / "tierpole" / "records" / "migrations", folder)
    (folder / "versions" / "r9999_later.py").write_text(NEWER)
    return folder


@pytest.mark.parametrize("wait", [0.25, 0.5])
def test_killed_during_an_upgrade(tmp_path, newer, wait):
    """The books are of the old release or of the new one, with a backup beside them."""
    books = tmp_path / "farm.db"
    sealed = filled(books, 500)
    with running(books, "upgrade", newer) as program:
        time.sleep(wait)
        program.send_signal(signal.SIGKILL)
    tables = {row[0] for row in sqlite3.connect(books).execute("SELECT name FROM sqlite_master")}
    later = {f"later_{number}" for number in range(20)}
    assert tables & later in (set(), later)
    with open_store(books, scripts=newer, release="9999") as store:
        assert (seal(store), verify(store).entries) == (sealed, sealed.seq)
    for made in tmp_path.glob(f"farm-before-upgrade-from-{RELEASE}-*.db"):
        with open_store(made) as store:
            assert seal(store) == sealed


def test_killed_during_an_upgrade_of_a_server(server, tmp_path, newer):
    where = server.new()
    sealed = filled(where, 100)
    with pytest.raises(StoreError, match="say where its backup is to go"):
        open_store(where, scripts=newer, release="9999")
    thread = threading.Thread(target=lambda: (time.sleep(0.4), server.crash()))
    thread.start()
    with pytest.raises(StoreError):
        open_store(where, scripts=newer, release="9999", backups=tmp_path)
    thread.join()
    server.start()
    with open_store(where) as store:
        assert (seal(store), verify(store).is_sound) == (sealed, True)
    with open_store(where, scripts=newer, release="9999", backups=tmp_path) as store:
        assert seal(store) == sealed
    made = sorted(tmp_path.glob(f"*-before-upgrade-from-{RELEASE}-*.db"))
    with open_store(made[-1]) as store:
        assert (seal(store), verify(store).is_sound) == (sealed, True)


# --- no room, no leave ----------------------------------------------------------------------------


def limited(size):
    """In the child: no file may grow beyond a size, as on a full disk."""
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))


def test_a_file_that_may_not_grow_any_more(tmp_path):
    """The writer is told why; all that was acknowledged is there; with room it goes on."""
    books = tmp_path / "farm.db"
    open_store(books, create=True).close()
    with running(books, "write_memos", 1, preexec_fn=limited(300_000)) as program:
        out, err = program.communicate()
    said = [int(line) for line in out.splitlines()]
    assert 5 < len(said) < 500
    assert f"{books}: Nothing was written, for the disk " in err
    assert "What was written before is safe." in err
    with open_store(books) as store:
        assert [one.id.int for one in entries(store, limit=1_000)] == said
        assert verify(store).is_sound
        write(store, memos([9_000]), who="Ann")
        assert verify(store).is_sound


@pytest.fixture
def full_disk(tmp_path):
    """A small disk of its own, where one may be mounted."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mounted = shutil.which("mount") and os.getuid() == 0
    command = ["mount", "-t", "tmpfs", "-o", "size=1500k", "tmpfs", str(folder)]
    if not mounted or subprocess.run(command, capture_output=True).returncode:
        pytest.skip("no disk can be mounted here; RLIMIT_FSIZE stands for a full one")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def test_a_full_disk(full_disk, tmp_path):
    """Writing, backup and export say that it is full; nothing is lost, no torso is left."""
    books = full_disk / "farm.db"
    said = []
    with open_store(books, create=True) as store:

        def write_on():
            for number in range(1, 2_000):
                write(store, [Change(Memo(written_on="2026-09-01", text="x" * 1_500))], who="Ann")
                said.append(number)

        with pytest.raises(StoreError) as caught:
            write_on()
        assert str(caught.value) == (
            f"{books}: Nothing was written, for the disk is full. "
            "What was written before is safe. Make room and try again."
        )
        assert verify(store).entries == len(said) > 20
        for make in (backup, export_package):
            with pytest.raises(StoreError):
                make(store, full_disk / "copy")
        assert not list(full_disk.glob("*copy*"))
        backup(store, tmp_path / "elsewhere.db")
    with open_store(tmp_path / "elsewhere.db") as store:
        assert verify(store).entries == len(said)


def test_no_room_to_unpack_leaves_nothing(tmp_path):
    filled(tmp_path / "farm.db", 3_000)
    with open_store(tmp_path / "farm.db") as store:
        package = export_package(store, tmp_path / "farm.zip")
    new = tmp_path / "new" / "again.db"
    new.parent.mkdir()
    with running(new, "unpack", package, preexec_fn=limited(300_000)) as program:
        _, err = program.communicate()
    assert "Nothing was written, for the disk " in err
    assert list(new.parent.iterdir()) == []


READ_ONLY = """
import os, sys
from pathlib import Path
from tierpole.errors import StoreError
from tierpole.farm.books import Memo
from tierpole.records import Change, open_store, write
os.setuid(65534)
try:
    write(open_store(sys.argv[1]), [Change(Memo(written_on="2026-09-01", text="x"))], who="Ann")
except StoreError as error:
    print(error)
"""


def test_a_file_that_may_only_be_read():
    """Nobody but root may write it: the message says so, and the books are as they were."""
    folder = Path(tempfile.mkdtemp(dir="/tmp"))  # a folder that others may enter
    try:
        books = folder / "farm.db"
        sealed = filled(books, 10)
        folder.chmod(0o555)
        books.chmod(0o444)
        if os.getuid() == 0:
            told = subprocess.run(
                [sys.executable, "-c", READ_ONLY, str(books)], capture_output=True, text=True,
                env=os.environ | {"PYTHONPATH": str(HERE.parent / "src")},
            ).stdout  # fmt: skip
        else:
            with pytest.raises(StoreError) as caught:
                write(open_store(books), memos([1]), who="Ann")
            told = f"{caught.value}\n"
        assert told == (
            f"{books}: the file or its folder may only be read. "
            "Give leave to write both, or copy the file elsewhere.\n"
        )
        folder.chmod(0o755)
        books.chmod(0o644)
        with open_store(books) as store:
            assert (seal(store), verify(store).is_sound) == (sealed, True)
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)


def test_a_resend_after_any_failure_is_kept_once(filed):
    """Whoever got no answer hands the same in again, and history shows one entry."""
    (change,) = memos([1])
    for _ in range(3):
        write(filed, [change], who="Ann")
    assert len(history(filed, change.of)) == 1


def test_a_backup_restored_and_a_package_unpacked_are_the_same_books(tmp_path):
    sealed = filled(tmp_path / "farm.db", 50)
    with open_store(tmp_path / "farm.db") as store:
        backup(store, tmp_path / "backup.db")
        export_package(store, tmp_path / "farm.zip")
    restore(tmp_path / "backup.db", tmp_path / "one.db")
    import_package(tmp_path / "farm.zip", tmp_path / "two.db")
    for name in ("one.db", "two.db"):
        with open_store(tmp_path / name) as store:
            assert seal(store) == sealed
