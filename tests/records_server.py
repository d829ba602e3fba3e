"""Books on a file and on a real PostgreSQL, which is started here when it is found.

A test module that wants these fixtures says ``pytest_plugins = ["records_server"]``.
"""

import os
import shutil
import socket
import subprocess
import tempfile
from itertools import count
from pathlib import Path

import pytest
import sqlalchemy as sa

from tierpole.records import open_store

KINDS = ("sqlite", "postgresql")


# --- a real server --------------------------------------------------------------------------------


class Server:
    """A PostgreSQL of our own on a free port of this computer, in a folder that goes with it."""

    def __init__(self, programs):
        self.programs = programs
        self.folder = Path(tempfile.mkdtemp(prefix="tierpole-pg-"))
        self.user = "postgres" if os.name == "posix" and os.getuid() == 0 else None
        if self.user:  # PostgreSQL refuses to run as root
            shutil.chown(self.folder, self.user)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.numbers = count(1)
        self._run("initdb", "-A", "trust", "-U", "farm", "-E", "UTF8", "--no-instructions")
        self.start()

    def start(self):
        options = f"-c listen_addresses=127.0.0.1 -p {self.port} -k {self.folder}"
        log = str(self.folder / "log")
        self._run("pg_ctl", "-w", "-l", log, "-o", options, "start")

    def crash(self):
        """Stop as when the power fails: nothing is written any more."""
        self._run("pg_ctl", "-m", "immediate", "stop")

    def new(self):
        """The address of a new, empty database."""
        name = f"farm{next(self.numbers)}"
        self._say(f"CREATE DATABASE {name} TEMPLATE template0")
        return self.url(name).replace("+psycopg", "")

    def drop(self, address):
        """Let go of a database: a hundred of them make recovery and the end slow."""
        self._say(f"DROP DATABASE {address.rpartition('/')[2]} WITH (FORCE)")

    def _say(self, statement):
        engine = sa.create_engine(self.url("postgres"), isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.execute(sa.text(statement))
        engine.dispose()

    def url(self, name):
        return f"postgresql+psycopg://farm@127.0.0.1:{self.port}/{name}"

    def end(self):
        self.crash()
        shutil.rmtree(self.folder, ignore_errors=True)

    def _run(self, program, *options):
        command = [self.programs / program, "-D", self.folder / "data", *options]
        # what the server says goes to its log: a pipe would stay open as long as it runs
        quiet = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL}
        subprocess.run(
            command, check=True, user=self.user, cwd="/", stderr=subprocess.DEVNULL, **quiet
        )


def programs():
    """The folder of PostgreSQL's programs, or None."""
    found = shutil.which("pg_ctl")
    if found and shutil.which("initdb"):
        return Path(found).parent
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"))
    return debian[-1].parent if debian else None


@pytest.fixture(scope="session")
def server():
    """PostgreSQL itself; without it these tests are skipped, unless it is required."""
    folder = programs()
    if folder is None:
        reason = "NO POSTGRESQL ON THIS MACHINE: half of the tests of the books did not run"
        if os.environ.get("TIERPOLE_REQUIRE_POSTGRES") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    running = Server(folder)
    yield running
    running.end()


# --- books ----------------------------------------------------------------------------------------


@pytest.fixture(params=KINDS)
def where(request, tmp_path):
    """Where new books may be made: a file that is not there, or an empty database."""
    if request.param == "sqlite":
        yield str(tmp_path / "farm.db")
        return
    server = request.getfixturevalue("server")
    address = server.new()
    yield address
    server.drop(address)


@pytest.fixture
def store(where):
    """New books of either kind."""
    with open_store(where, create=True) as opened:
        yield opened


@pytest.fixture
def filed(tmp_path):
    """New books in a file."""
    with open_store(tmp_path / "farm.db", create=True) as opened:
        yield opened
