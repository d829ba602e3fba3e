"""Who gets in: every role on every route, sign-in, pairing, guests, forms from elsewhere."""

from __future__ import annotations

import re
import stat
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta

import httpx
import pytest

from books_office import form_of, quick_office
from page_server import served
from tierpole.cli import tierpole
from tierpole.errors import InputError, StoreError
from tierpole.office.people import (
    GUEST_LASTS,
    LASTS,
    NOBODY,
    Limit,
    People,
    Person,
    Role,
    people_of,
)
from tierpole.web import create_app
from tierpole.web.access import ACCESS, Gate, Verdict, decide
from tierpole.web.serving import Door, serve

SECRET = "four plain barn words"

# method, route, an address of it, and who may: owner, crew, guest of lot "2 Bank", nobody
TABLE = """
GET  /static                            /static/pages.css          yes yes yes yes
GET  /fonts                             /fonts/LICENSE-x.txt       yes yes yes yes
GET  /sign-in                           /sign-in                   yes yes yes yes
POST /sign-in                           /sign-in                   yes yes yes yes
GET  /pair                              /pair                      yes yes yes yes
POST /pair                              /pair                      yes yes yes yes
GET  /offline.js                        /offline.js                yes yes yes yes
GET  /guest/{token}                     /guest/none                yes yes yes yes
GET  /calendar/{token}.ics              /calendar/none.ics         yes yes yes yes
POST /sign-out                          /sign-out                  yes yes yes no
GET  /packet/{lot:path}                 /packet/2%20Bank           yes no  yes no
GET  /packet/{lot:path}                 /packet/1%20River          yes no  no  no
GET  /paper/packet/{lot:path}           /paper/packet/2%20Bank     yes no  yes no
GET  /paper/packet/{lot:path}           /paper/packet/1%20River    yes no  no  no
GET  /health                            /health                    yes yes no  no
GET  /crew                              /crew                      yes yes no  no
GET  /crew/day/{day}.pdf                /crew/day/2026-09-03.pdf   yes yes no  no
GET  /crew/day/{day}                    /crew/day/2026-09-03       yes yes no  no
GET  /crew/map/{name:path}              /crew/map/Frame            yes yes no  no
GET  /place/{name:path}                 /place/Home%20barn         yes yes no  no
GET  /enter                             /enter                     yes yes no  no
GET  /enter/{form}                      /enter/cut                 yes yes no  no
GET  /enter/{form}                      /enter/any-field           yes no  no  no
POST /enter/{form}                      /enter/cut                 yes yes no  no
POST /enter/{form}                      /enter/any-field           yes no  no  no
GET  /entered/{entry}                   /entered/x                 yes yes no  no
POST /entered/{entry}/undo              /entered/x/undo            yes yes no  no
POST /language                          /language                  yes yes no  no
GET  /                                  /                          yes no  no  no
GET  /season                            /season                    yes no  no  no
GET  /lot/{name:path}                   /lot/2%20Bank              yes no  no  no
GET  /rules                             /rules                     yes no  no  no
GET  /why/plan/{key}/{subject:path}     /why/plan/p_pass/x         yes no  no  no
GET  /why/outlook/{name}                /why/outlook/p_pass        yes no  no  no
GET  /why/outlook/{name}/{subject:path} /why/outlook/p_pass/x      yes no  no  no
GET  /why/formula/{name}                /why/formula/x             yes no  no  no
GET  /why/value/{name}                  /why/value/x               yes no  no  no
POST /seen                              /seen                      yes no  no  no
GET  /plans                             /plans                     yes no  no  no
GET  /plans/{mark}                      /plans/x                   yes no  no  no
GET  /books                             /books                     yes no  no  no
GET  /books/balance                     /books/balance             yes no  no  no
GET  /books/check                       /books/check               yes no  no  no
GET  /books/backup.db                   /books/backup.db           yes no  no  no
GET  /books/tables.xlsx                 /books/tables.xlsx         yes no  no  no
GET  /books/table/{kind}.csv            /books/table/cut.csv       yes no  no  no
GET  /books/farm.zip                    /books/farm.zip            yes no  no  no
GET  /books/noun/{noun}                 /books/noun/x              yes no  no  no
POST /books/noun/{noun}/withdraw        /books/noun/x/withdraw     yes no  no  no
POST /books/noun/{noun}/decide          /books/noun/x/decide       yes no  no  no
GET  /books/noun/{noun}/correct         /books/noun/x/correct      yes no  no  no
POST /books/noun/{noun}/correct         /books/noun/x/correct      yes no  no  no
GET  /papers                            /papers                    yes no  no  no
GET  /paper/{kind}.pdf                  /paper/lender.pdf          yes no  no  no
GET  /tables.xlsx                       /tables.xlsx               yes no  no  no
GET  /table/{name}.csv                  /table/Cuts.csv            yes no  no  no
GET  /calendar.ics                      /calendar.ics              yes no  no  no
GET  /scan/{kind}/{lot}                 /scan/lots/2%20Bank        yes yes no  no
GET  /scan/{kind}/{lot}/{rest:path}     /scan/bags/2%20Bank/3      yes yes no  no
GET  /content/{key}                     /content/x                 yes no  no  no
GET  /people                            /people                    yes no  no  no
POST /people/code                       /people/code               yes no  no  no
POST /people/guest                      /people/guest              yes no  no  no
POST /people/calendar                   /people/calendar           yes no  no  no
POST /people/away                       /people/away               yes no  no  no
GET  /certificates                      /certificates              yes no  no  no
POST /certificates                      /certificates              yes no  no  no
POST /certificates/map                  /certificates/map          yes no  no  no
GET  /certificates/paper/{key}          /certificates/paper/x      yes no  no  no
POST /certificates/paper/{key}          /certificates/paper/x      yes no  no  no
GET  /sales                             /sales                     yes no  no  no
GET  /acres                             /acres                     yes no  no  no
GET  /sales/{name:path}                 /sales/First               yes no  no  no
GET  /certificates/paper/{key}/{page}.png /certificates/paper/x/0.png yes no no  no
GET  /start                             /start                     yes no  no  no
POST /start                             /start                     yes no  no  no
GET  /start/{step}                      /start/place               yes no  no  no
POST /start/{step}                      /start/place               yes no  no  no
"""
ROWS = [row.split() for row in TABLE.strip().splitlines()]
ROLES = (Role.OWNER, Role.CREW, Role.GUEST, Role.NOBODY)
MATRIX = [
    (row[0], row[1], row[2], role, row[3 + number] == "yes")
    for row in ROWS
    for number, role in enumerate(ROLES)
]


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("access")) as office:
        office.people.set_passphrase(SECRET)
        yield office


@contextmanager
def opened(office, gate=None):
    """The pages open to the network, nobody signed in, with no limit to knocking."""
    never = Limit(10_000, 1.0, lambda: 0.0)
    gate = gate or Gate(office.people, is_open=True, knocks=never, knocks_in_all=never)
    with served(office, gate) as address, httpx.Client(base_url=address) as client:
        client.get("/sign-in")
        yield client


@pytest.fixture(scope="module")
def browsers(office):
    """A browser of each role, and the token its forms carry."""
    with opened(office) as nobody, ExitStack() as stack:
        browsers = {Role.NOBODY: nobody}
        for role in ROLES[:3]:
            browser = browsers[role] = stack.enter_context(httpx.Client(base_url=nobody.base_url))
            browser.get("/sign-in")
            if role is Role.OWNER:
                told = {"passphrase": SECRET} | form_of(browser, "/sign-in")
                assert browser.post("/sign-in", data=told).headers["location"] == "/"
            elif role is Role.CREW:
                code = office.people.new_code("Ben", role, "es")
                told = {"code": f" {code[:4].lower()} {code[4:]}"} | form_of(browser, "/pair")
                assert browser.post("/pair", data=told).headers["location"] == "/"
            else:
                token = office.people.new_guest("Inspector", "2 Bank")
                sent = browser.get(f"/guest/{token}")
                assert sent.headers["location"] == "/packet/2%20Bank"
        yield browsers


@pytest.mark.parametrize(("method", "route", "address", "role", "may"), MATRIX)
def test_every_role_on_every_route(browsers, method, route, address, role, may):
    """The pages do what the table says, for each."""
    browser = browsers[role]
    told = {"token": form_of(browser, "/sign-in")["token"]} if method == "POST" else None
    kept = list(browser.cookies.jar)
    answer = browser.request(method, address, data=told, headers={"accept": "text/html"})
    browser.cookies.jar.clear()  # signing out is tried too
    for cookie in kept:
        browser.cookies.jar.set_cookie(cookie)
    to_sign_in = answer.status_code == 303 and answer.headers["location"] == "/sign-in"
    if not may:
        is_own_page = role is Role.CREW and answer.headers.get("location") == "/crew"
        refused = to_sign_in or is_own_page or answer.status_code in (401, 403)
        if address.endswith("any-field"):
            refused = refused or answer.status_code == 404
        assert refused, answer.status_code
    else:
        wrong_secret = address in ("/sign-in", "/pair") and method == "POST"
        assert wrong_secret or answer.status_code not in (401, 403, 500)
        assert address == "/sign-out" or not to_sign_in


def test_the_table_is_complete(office):
    """Every route of the pages stands in the test's table and in the door's, and none besides."""
    app = create_app(office)
    there = {
        (method, route.path)
        for route in app.state.routes
        for method in getattr(route, "methods", None) or {"GET"}
        if method != "HEAD" and route.path not in ("/docs/oauth2-redirect",)
    }
    listed = {(row[0], row[1]) for row in ROWS} | LATER
    assert there <= listed
    assert listed <= set(ACCESS) | LATER
    assert listed <= there | LATER


# programs come in by a token: test_web_api goes through all of theirs
LATER = {route for route in ACCESS if route[1].startswith("/api/")}


def test_what_is_not_in_the_table_is_not_there():
    """A route nobody wrote down is closed even to the owner."""
    owner = Person("Ann", Role.OWNER)
    assert decide(owner, "GET", "/new") is Verdict.ABSENT
    assert decide(owner, "DELETE", "/books") is Verdict.ABSENT
    assert decide(NOBODY, "GET", "/new") is Verdict.SIGN_IN
    assert decide(owner, "HEAD", "/books") is Verdict.ALLOWED
    guest = Person("x", Role.GUEST, lot="2 Bank")
    assert decide(guest, "GET", "/packet/{lot:path}", "2 Bank/x") is Verdict.FORBIDDEN


# --- forms and addresses from elsewhere -----------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://elsewhere.example"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_form_from_elsewhere_is_refused(browsers, headers):
    """Even with the right token, a page of another address cannot send one."""
    owner = browsers[Role.OWNER]
    told = form_of(owner, "/enter/any-memo") | {"written_on": "2026-09-10", "text": "x"}
    assert owner.post("/enter/any-memo", data=told, headers=headers).status_code == 403


def test_a_form_without_its_token_is_refused(browsers):
    """Without it, with another browser's, or with a made-up one."""
    owner, crew = browsers[Role.OWNER], browsers[Role.CREW]
    told = form_of(owner, "/enter/any-memo") | {"written_on": "2026-09-10", "text": "x"}
    for token in ("", "0" * 64, form_of(crew, "/enter/cut")["token"]):
        answer = owner.post("/enter/any-memo", data=told | {"token": token})
        assert answer.status_code == 403
        assert "Open it again" in answer.text


def test_only_this_computer_is_listened_to_by_default(office):
    """A name that somebody pointed here does not lead in; who sits here is the owner."""
    with opened(office, Gate(office.people)) as client:
        assert client.get("/books").status_code == 200
        assert client.get("/books", headers={"host": "farm.example:80"}).status_code == 403
        assert client.get("/books", headers={"host": "localhost:1"}).status_code == 200


def test_the_policy_of_every_page_is_strict(browsers):
    """No script of others, no inline script, forms only home; only charts may compile."""
    for path in ("/", "/enter", "/books", "/people", "/sign-in", "/season"):
        policy = browsers[Role.OWNER].get(path).headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "form-action 'self'" in policy
        assert ("unsafe" in policy) == (path == "/season")
        assert "'unsafe-inline'" not in policy.partition("script-src")[2].partition(";")[0]


def test_cookies_are_kept_from_scripts(browsers):
    told = {"passphrase": SECRET} | form_of(browsers[Role.NOBODY], "/sign-in")
    with httpx.Client(base_url=browsers[Role.NOBODY].base_url) as client:
        client.get("/sign-in")
        told |= form_of(client, "/sign-in")
        said = client.post("/sign-in", data=told).headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=strict" in said


# --- knocking -------------------------------------------------------------------------------------


def test_knocking_is_limited(office):
    """Five wrong passphrases a minute from one address; then even the right one waits."""
    with opened(office, Gate(office.people, is_open=True)) as client:
        hidden = form_of(client, "/sign-in")
        answers = [
            client.post("/sign-in", data=hidden | {"passphrase": "wrong"}).status_code
            for _ in range(6)
        ]
        assert answers == [403] * 5 + [429]
        assert client.post("/sign-in", data=hidden | {"passphrase": SECRET}).status_code == 429
        code = office.people.new_code("Cy", Role.CREW, "en")
        hidden = form_of(client, "/pair")
        assert client.post("/pair", data=hidden | {"code": code}).status_code == 429


def test_limit_limits():
    """So many in a window, each by itself; the window moves on."""
    now = [0.0]
    limit = Limit(2, 10.0, lambda: now[0])
    assert [limit.allows("a") for _ in range(3)] == [True, True, False]
    assert limit.allows("b")
    now[0] = 10.0
    assert limit.allows("a")


# --- people ---------------------------------------------------------------------------------------


@pytest.fixture
def people(tmp_path):
    now = [datetime(2026, 9, 1, tzinfo=UTC)]
    people = People(tmp_path / "farm.db.people", lambda: now[0])
    people.at = now
    return people


def test_secrets_are_kept_as_hashes_alone(people):
    """The file is its owner's only, and holds no secret that could be used."""
    people.set_passphrase(SECRET)
    code = people.new_code("Ben", Role.CREW, "es")
    tokens = [people.sign_in(SECRET), people.pair(code), people.new_guest("x", "2 Bank"),
              people.new_api_token("scale", "write")]  # fmt: skip
    text = people.path.read_text("utf-8")
    assert "$argon2id$" in text
    assert all(token and token not in text for token in [*tokens, SECRET, code])
    assert stat.S_IMODE(people.path.stat().st_mode) == 0o600
    assert people.of_device(tokens[1]) == Person("Ben", Role.CREW, "es")
    assert people.of_guest(tokens[2]).lot == "2 Bank"
    assert people.of_program(tokens[3]).role is Role.WRITER
    again = People(people.path, lambda: people.at[0])
    assert again.of_device(tokens[1]).name == "Ben", "paired for good"
    assert again.form_token("v") == people.form_token("v"), "forms left open stay good"
    for token in ("", "x", *tokens[2:]):
        assert again.of_device(token) is NOBODY


def test_codes_links_and_devices_end(people):
    """A code is good once and for ten minutes, a link two weeks, a browser unseen sixty days."""
    code, late = (people.new_code("Ben", Role.CREW, "en") for _ in range(2))
    token = people.pair(code)
    assert token
    assert people.pair(code) is None
    people.at[0] += timedelta(minutes=11)
    assert people.pair(late) is None
    guest = people.new_guest("x", "2 Bank")
    people.at[0] += GUEST_LASTS + timedelta(seconds=1)
    assert people.of_guest(guest) is NOBODY
    assert people.of_device(token).name == "Ben"
    people.at[0] += LASTS + timedelta(days=1)
    assert people.of_device(token) is NOBODY


def test_a_new_passphrase_ends_older_ones(people):
    """Owners' browsers sign in again, the crew's phones stay; short ones are refused."""
    people.set_passphrase(SECRET)
    owner, crew = people.sign_in(SECRET), people.pair(people.new_code("Ben", Role.CREW, "en"))
    people.set_passphrase("another set of words")
    assert people.sign_in(SECRET) is None
    assert people.of_device(owner) is NOBODY
    assert people.of_device(crew).name == "Ben"
    with pytest.raises(InputError, match="12 signs or more"):
        people.set_passphrase("short")
    people.send_away(people.devices()[0].token)
    assert people.of_device(crew) is NOBODY


def test_a_spoilt_file_is_told(people):
    people.path.write_text("{", encoding="utf-8")
    with pytest.raises(StoreError, match="cannot be read"):
        People(people.path)


def test_people_pages_limits(office, browsers):
    """A code and a link are shown once; the link leads to its lot; who is sent away stays away."""
    owner = browsers[Role.OWNER]
    hidden = form_of(owner, "/people")
    page = owner.post("/people/code", data=hidden | {"name": "Dee", "role": "crew"}).text
    code = re.search(r'class="code">([^<]+)<', page)[1]
    with httpx.Client(base_url=owner.base_url) as phone:
        phone.get("/pair")
        told = form_of(phone, "/pair") | {"code": code}
        assert phone.post("/pair", data=told).status_code == 303
        assert phone.get("/enter").status_code == 200
        assert phone.get("/", headers={"accept": "text/html"}).headers["location"] == "/crew"
        token = next(one.token for one in office.people.devices() if one.name == "Dee")
        owner.post("/people/away", data=hidden | {"who": token})
        assert (
            phone.get("/enter", headers={"accept": "text/html"}).headers["location"] == "/sign-in"
        )
    page = owner.post("/people/guest", data=hidden | {"name": "Buyer", "lot": "2 Bank"}).text
    link = re.search(r'class="seal">[^<]+(/guest/[^<]+)<', page)[1]
    with httpx.Client(base_url=owner.base_url) as buyer:
        assert "All that is on record of 2 Bank" in buyer.get(link, follow_redirects=True).text
    for told in ({"name": ""}, {"name": "x" * 61}):
        assert owner.post("/people/code", data=hidden | told).status_code == 422
    bad = owner.post("/people/guest", data=hidden | {"name": "x", "lot": "none"})
    assert bad.status_code == 422


def test_the_crew_undoes_only_its_own(browsers):
    """What somebody else entered is theirs; the books name who entered."""
    owner, crew = browsers[Role.OWNER], browsers[Role.CREW]
    cut = {"lot": "2 Bank", "sticks": "2", "cut_on": "2026-09-10"}
    theirs = owner.post("/enter/cut", data=form_of(owner, "/enter/cut") | cut).headers["location"]
    own = crew.post("/enter/cut", data=form_of(crew, "/enter/cut") | cut).headers["location"]
    hidden = form_of(crew, "/enter/cut")
    assert crew.post(f"{theirs}/undo", data=hidden).status_code == 403
    assert crew.post(f"{own}/undo", data=hidden).status_code == 303
    assert "Ben" in owner.get("/books").text


# --- opening the door -----------------------------------------------------------------------------


def test_the_network_is_opened_only_with_a_passphrase(tmp_path):
    """Neither books without one nor a scenario are shown to the network."""
    from click.testing import CliRunner

    from fake_office import FakeOffice

    with pytest.raises(StoreError, match="Put it into books first"):
        serve(FakeOffice(), 8911, print, Door(lan=True))
    with quick_office(tmp_path) as office:
        with pytest.raises(StoreError, match="Set a passphrase first"):
            serve(office, 8911, print, Door(lan=True))
        typed = f"{SECRET}\n{SECRET}\n"
        done = CliRunner().invoke(tierpole, ["passphrase", str(office.store)], input=typed)
        assert done.exit_code == 0, done.output
        assert people_of(office.store).sign_in(SECRET)
        short = CliRunner().invoke(tierpole, ["passphrase", str(office.store)], input="a\na\n")
        assert short.exit_code == 2
    one = CliRunner().invoke(tierpole, ["serve", str(tmp_path / "farm.db"), "--cert", __file__])
    assert "--cert and --key go together" in one.output
