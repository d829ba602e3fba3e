"""A program that writes in books and can be killed: it says each acknowledged entry, then goes on.

python records_crash.py WHERE ACTION [ARGUMENT]
"""

import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID

from records_books import attach
from tierpole.farm.books import Memo
from tierpole.records import (
    Change,
    import_package,
    import_season,
    open_store,
    restore,
    write,
)
from tierpole.records import backup as back_up

HERE = Path(__file__).parent


def started(where, action, argument, **options):
    """This program, running."""
    command = [sys.executable, str(HERE / "records_crash.py"), str(where), action, str(argument)]
    paths = os.pathsep.join([str(HERE.parent / "src"), str(HERE)])
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=os.environ | {"PYTHONPATH": paths}, **options,
    )  # fmt: skip


def say(text):
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def write_memos(where, first):
    """One entry after another, each a memo and every fifth with a photo, said once acknowledged."""
    with open_store(where) as store:
        say("ready")
        for number in range(int(first), int(first) + 500):
            if number % 5 == 0:
                id_ = UUID(int=number)
                attach(store, b"photo" * 2_000, f"{number}.jpg", "image/jpeg", "Ann", entry=id_)
            else:
                memo = Memo(written_on="2026-09-01", text=f"memo {number} " + "x" * 400)
                write(store, [Change(memo, id=UUID(int=number))], "Ann", datetime.now(UTC))
            say(number)


def write_few(where, number):
    """Thirty entries of a person, as fast as they go."""
    with open_store(where) as store:
        say("ready")
        for at in range(30):
            memo = Memo(written_on="2026-09-01", text=f"{at}")
            write(store, [Change(memo)], who=f"Person {number}")


def upgrade(where, scripts):
    """Open the books with scripts that bring them to a newer release."""
    say("ready")
    open_store(where, scripts=Path(scripts), release="9999").close()


def backup(where, target):
    with open_store(where) as store:
        say("ready")
        back_up(store, Path(target))


def unpack(where, package):
    say("ready")
    import_package(Path(package), where)


def replace(where, source):
    say("ready")
    restore(Path(source), where, replace=True)


def season(where, _):
    from records_books import scenario

    _, whole, _, files = scenario()
    with open_store(where) as store:
        say("ready")
        import_season(store, whole, files, who="Ann")


if __name__ == "__main__":
    globals()[sys.argv[2]](sys.argv[1], sys.argv[3])
    say("done")
