"""Fetching a station's latest records from a local server that answers as real ones do."""

import gzip
import json
import socket
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from tierpole.errors import InputError, StoreError
from tierpole.sources import read_station, update_station
from tierpole.sources.files import decode

CODE = "USC00440766"
HEADER = "ID,DATE,ELEMENT,VALUE,MFLAG,QFLAG,SFLAG,OBSTIME\n"


def rows(first, days, t_max=200):
    """Days of April 2026 in NOAA's by-station form."""
    values = (("PRCP", 0), ("TMAX", t_max), ("TMIN", 50))
    return "".join(
        f"{CODE},202604{day:02},{element},{value},,,7,0700\n"
        for day in range(first, first + days)
        for element, value in values
    )


class Answer:
    """What the server says next, and what it was asked."""

    def __init__(self):
        self.status, self.body, self.headers = 200, b"", {}
        self.length = None
        self.asked = []
        self.delay = 0.0


@pytest.fixture
def server():
    answer = Answer()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            answer.asked.append((self.path, dict(self.headers)))
            time.sleep(answer.delay)
            known = self.headers.get("If-None-Match")
            is_known = known is not None and known == answer.headers.get("ETag")
            self.send_response(304 if is_known else answer.status)
            for name, value in answer.headers.items():
                self.send_header(name, value)
            body = b"" if is_known else answer.body
            self.send_header("Content-Length", str(answer.length or len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *args):
            pass

    running = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=running.serve_forever, args=(0.01,), daemon=True).start()
    answer.url = f"http://127.0.0.1:{running.server_address[1]}/by_station/"
    yield answer
    running.shutdown()
    running.server_close()


@pytest.fixture
def stored(tmp_path):
    (tmp_path / "stations.csv").write_text(
        f"station,name,latitude,longitude,elevation_m\n{CODE},Blacksburg,37.2,-80.4,640\n"
    )
    path = tmp_path / f"{CODE}.csv.gz"
    path.write_bytes(gzip.compress((HEADER + rows(1, 10)).encode()))
    return path


def packed(text):
    return gzip.compress(text.encode())


def refuse(stored, url, **options):
    """The words of a failed update, which must leave the folder as it was."""
    before = {path.name: path.read_bytes() for path in stored.parent.iterdir()}
    with pytest.raises(StoreError) as caught:
        update_station(stored, url, **options)
    assert {path.name: path.read_bytes() for path in stored.parent.iterdir()} == before
    return str(caught.value)


def test_new_rows_are_added_revised_ones_replaced_and_old_ones_kept(server, stored):
    """The publisher has lost the first five days, revised three and has five new ones."""
    server.body = packed(rows(6, 2) + rows(8, 8, t_max=210))
    update = update_station(stored, server.url)
    assert (update.station, update.added, update.revised) == (CODE, 15, 3)
    assert (str(update.first), str(update.last)) == ("2026-04-01", "2026-04-15")
    record = read_station(stored)
    assert len(record) == 15
    assert record.t_max.tolist() == [20.0] * 7 + [21.0] * 8
    assert server.asked[0][0] == f"/by_station/{CODE}.csv.gz"


def test_a_plain_file_stays_plain(server, tmp_path, stored):
    plain = tmp_path / "plain.csv"
    plain.write_text(HEADER + rows(1, 3))
    server.body = rows(4, 2).encode()
    update_station(plain, server.url)
    assert plain.read_text() == HEADER + rows(1, 5)


def test_not_modified_is_asked_for_and_believed(server, stored):
    server.body, server.headers = packed(rows(1, 12)), {"ETag": '"one"', "Last-Modified": "then"}
    assert update_station(stored, server.url).added == 6
    before = stored.read_bytes()
    update = update_station(stored, server.url)
    assert not update.is_changed
    assert stored.read_bytes() == before
    asked = server.asked[1][1]
    assert (asked["If-None-Match"], asked["If-Modified-Since"]) == ('"one"', "then")


def test_a_stored_file_changed_since_is_fetched_whole(server, stored):
    """An older copy put back must not be taken for the version last fetched."""
    old = stored.read_bytes()
    server.body, server.headers = packed(rows(1, 12)), {"ETag": '"one"'}
    update_station(stored, server.url)
    stored.write_bytes(old)
    assert update_station(stored, server.url).added == 6
    assert "If-None-Match" not in server.asked[1][1]


def test_a_spoiled_note_of_the_version_is_ignored(server, stored):
    server.body, server.headers = packed(rows(1, 12)), {"ETag": '"one"'}
    update_station(stored, server.url)
    note = stored.with_name(f"{stored.name}.fetched.json")
    assert json.loads(note.read_text())["ETag"] == '"one"'
    for text in ("{", "[1]"):
        note.write_text(text)
        assert not update_station(stored, server.url).is_changed
    assert all("If-None-Match" not in headers for _, headers in server.asked)


@pytest.mark.parametrize(
    ("status", "told"),
    [(404, "the publisher has no file of that station"), (503, "refused it (status 503)")],
)
def test_a_refusal(server, stored, status, told):
    server.status = status
    assert told in refuse(stored, server.url)


@pytest.mark.parametrize(
    "body",
    [
        packed(rows(1, 12))[:-30],
        b"<html><body>Down for maintenance</body></html>",
        packed(rows(1, 12).replace(CODE, "USC00449999")),
        packed(rows(1, 12).replace("20260405", "tomorrow")),
        b"\xff\x00\xfe" * 50,
        b"",
    ],
    ids=["cut", "a page", "another station", "a bad row", "noise", "nothing"],
)
def test_garbage(server, stored, body):
    server.body = body
    told = refuse(stored, server.url)
    assert f"not the daily record of {CODE}" in told
    assert "The stored record is unchanged" in told


def test_a_body_cut_short_on_the_way(server, stored):
    """A plain body shorter than announced could pass for a whole one."""
    server.body, server.length = rows(1, 12).encode(), 10_000
    assert "cannot be reached" in refuse(stored, server.url)


def test_offline(stored):
    """Nobody listens at the port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    told = refuse(stored, f"http://127.0.0.1:{port}/")
    assert "cannot be reached" in told
    assert "can be used without a connection" in told


def test_a_silent_server(server, stored):
    server.delay = 0.6
    assert "cannot be reached (timed out)" in refuse(stored, server.url, timeout=0.1)


def test_other_addresses(stored):
    assert "starts with https://" in refuse(stored, stored.parent.as_uri())


def test_only_the_long_form_is_updated(tmp_path):
    wide = tmp_path / "wide.csv"
    wide.write_text("STATION,DATE,TMAX,TMAX_ATTRIBUTES\nX,2026-04-01,1,\n")
    with pytest.raises(InputError, match="the long form, one row a day and element"):
        update_station(wide)
    empty = tmp_path / "empty.csv"
    empty.write_text(HEADER)
    with pytest.raises(InputError, match="at least one row, which names the station"):
        update_station(empty)


def test_a_folder_that_cannot_be_written(server, stored, monkeypatch):
    def full(*args, **kwargs):
        raise OSError(28, "No space left on device")

    server.body = packed(rows(1, 12))
    monkeypatch.setattr("tierpole.sources.fetch.tempfile.mkstemp", full)
    assert "cannot be written (No space left on device)" in refuse(stored, server.url)
    assert decode(stored.read_bytes()).startswith(HEADER)
