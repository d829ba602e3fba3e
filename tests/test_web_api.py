"""The JSON interface: every kind by its published description, nothing doubled, errors as told."""

from __future__ import annotations

import json
from uuid import uuid4

import httpx
import jsonschema
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from books_office import quick_office, written
from page_server import served
from tierpole.cli import tierpole
from tierpole.farm import Cut
from tierpole.office.interface import described, is_written_by_programs
from tierpole.office.people import Role
from tierpole.records import KINDS, Change, Wanted, nouns, write
from tierpole.web.access import ACCESS

CUT = {"value": {"lot": "2 Bank", "cut_on": "2026-09-10", "sticks": 3}}


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("api")) as office:
        yield office


@pytest.fixture(scope="module")
def callers(office):
    """A program that writes, one that reads, and one without a token."""
    with served(office) as address:
        tokens = [office.people.new_api_token(name, name) for name in ("write", "read")]
        headers = [{"authorization": f"Bearer {token}"} for token in tokens]
        clients = [
            httpx.Client(base_url=f"{address}/api/v1", headers=one) for one in [*headers, {}]
        ]
        yield clients
        for client in clients:
            client.close()


@pytest.fixture(scope="module")
def program(callers):
    return callers[0]


def resolved(schema):
    """A schema of the description that finds the parts it names."""
    return {"$ref": f"#/components/schemas/{schema}", **described()}


def test_interface_against_openapi():
    """The description is OpenAPI 3.1: names are unique, every reference leads somewhere, and each
    schema is JSON Schema 2020-12. Source: OpenAPI Specification 3.1.0, sections 4.8."""
    whole = described()
    text = json.dumps(whole)
    operations = [one["operationId"] for path in whole["paths"].values() for one in path.values()]
    assert len(set(operations)) == len(operations)
    for part in whole["components"]["schemas"].values():
        jsonschema.Draft202012Validator.check_schema(part)
    for name in {ref.split('"')[0] for ref in text.split("#/components/schemas/")[1:]}:
        assert name in whole["components"]["schemas"], name
    for kind in KINDS:
        assert f"/api/v1/{kind.name}" in whole["paths"]
        assert ("post" in whole["paths"][f"/api/v1/{kind.name}"]) == is_written_by_programs(kind)


def test_every_kind_can_be_read(program, office):
    """Each answer is as described; each noun says what the books say of it."""
    page, whole = resolved("Page"), described()
    for kind in KINDS:
        answer = program.get(f"/{kind.name}")
        assert answer.status_code == 200
        jsonschema.validate(answer.json(), page)
        for item in answer.json()["items"]:
            value = {"$ref": f"#/components/schemas/{kind.name}", **whole}
            jsonschema.validate(item["value"], value)
            assert program.get(f"/{kind.name}/{item['id']}").json() == item
    root = program.get(str(program.base_url).rstrip("/")).json()
    assert set(root["kinds"]) == {kind.name for kind in KINDS}
    assert program.get("/openapi.json").json()["openapi"] == "3.1.0"


def test_pages_of_nouns_limits(program, office):
    """Cursors lead through every noun once, whatever is written meanwhile."""
    notes = [Change(Cut(lot="2 Bank", cut_on="2026-09-01", sticks=n)) for n in range(1, 8)]
    write(office.store, notes, who="Ann")
    seen, cursor = [], "0"
    while cursor is not None:
        told = program.get("/cut", params={"lot": "2 Bank", "limit": 3, "cursor": cursor}).json()
        seen += [item["id"] for item in told["items"]]
        cursor = told["next"]
        if len(seen) == 3:
            write(office.store, [Change(Cut(lot="2 Bank", cut_on="2026-09-02", sticks=9))], "Ann")
    assert len(seen) == len(set(seen))
    assert {str(one.of) for one in notes} <= set(seen)


def test_a_call_sent_again_writes_nothing_twice(program, office):
    """By its key, whatever it looks like; another call under the same key is refused."""
    for key in (str(uuid4()), "scale 3, ticket 1042"):
        headers = {"idempotency-key": key}
        first = program.post("/cut", json=CUT, headers=headers)
        again = program.post("/cut", json=CUT, headers=headers)
        assert (first.status_code, again.status_code) == (201, 200)
        assert first.json() == again.json() | {"is_new": True}
        other = {"value": CUT["value"] | {"sticks": 4}}
        refused = program.post("/cut", json=other, headers=headers)
        assert refused.status_code == 409
        assert refused.headers["content-type"] == "application/problem+json"
    before = written(office)
    for key in ("", "k" * 201):
        refused = program.post("/cut", json=CUT, headers={"idempotency-key": key})
        assert refused.status_code == 422
        assert refused.json()["detail"] == "Idempotency-Key: must be of 1 to 200 characters."
    assert written(office) == before
    assert (
        program.post("/cut", json=CUT).json()["id"] != program.post("/cut", json=CUT).json()["id"]
    )


def test_corrections_and_withdrawals(program, office):
    """A correction names what it saw; one that saw too little waits beside it."""
    made = program.post("/cut", json=CUT).json()
    value = CUT["value"] | {"sticks": 5}
    where, seen = f"/cut/{made['id']}", [made["entry"]]
    right = program.put(where, json={"value": value, "corrects": seen, "why": "counted"}).json()
    late = program.put(where, json={"value": value | {"sticks": 6}, "corrects": seen}).json()
    assert (right["is_contested"], late["is_contested"]) == (False, True)
    gone = {"corrects": [right["entry"], late["entry"]], "why": "not cut"}
    assert program.post(f"{where}/withdraw", json=gone).status_code == 201
    assert program.get(where).status_code == 404
    told = program.get(f"{where}/history").json()
    assert [one["value"] and one["value"]["sticks"] for one in told] == [3, 5, 6, None]
    assert [one["who"] for one in told] == ["write"] * 4


def test_quantities_may_carry_their_unit(program, office):
    """A number is SI, a text is read as people write it."""
    value = {"lot": "1 River", "stripped_on": "2026-09-10", "mass": "1,200 lb", "moisture": 0.11}
    program.post("/stripping", json={"value": value})
    assert nouns(office.store, Wanted("stripping"))[-1].noun.mass == pytest.approx(544.31, rel=1e-4)


@pytest.mark.parametrize(
    ("method", "path", "body", "status", "told"),
    [
        ("POST", "/cut", {"value": {"lot": "2 Bank"}}, 422, "cut_on"),
        ("POST", "/cut", {"value": CUT["value"] | {"lot": "None"}}, 422, "the name of a lot"),
        ("POST", "/cut", {"values": 1}, 422, "values"),
        ("POST", "/cut", [], 422, "the body"),
        ("POST", "/plan", {"value": {}}, 405, "Only Tierpole"),
        ("GET", "/nothing", None, 404, "no kind"),
        ("GET", "/cut/x", None, 422, "noun"),
        ("GET", f"/cut/{uuid4()}", None, 404, "There is none"),
        ("GET", f"/cut/{uuid4()}/history", None, 404, "There is none"),
        ("PUT", f"/cut/{uuid4()}", CUT, 404, "There is none"),
        ("GET", "/cut?limit=0", None, 422, "limit"),
        ("GET", "/cut?cursor=x", None, 422, "cursor"),
        ("DELETE", "/cut", None, 405, "Not Allowed"),
        ("GET", "/a/b/c/d", None, 404, "Not Found"),
    ],
)
def test_problems_against_rfc9457(program, office, method, path, body, status, told):
    """A refusal is a problem document: type, title, status, detail. Source: RFC 9457, section 3."""
    before = written(office)
    answer = program.request(method, path, json=body)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    jsonschema.validate(answer.json(), resolved("Problem"))
    assert answer.json()["status"] == status
    assert told in answer.json()["detail"]
    assert written(office) == before


def test_tokens_limits(callers, office, tmp_path):
    """None without a token or beyond its scope, in every route; a cookie of the pages is none."""
    write, read, nobody = callers
    routes = [(method, path) for method, path in ACCESS if path.startswith("/api/")]
    for method, path in routes:
        address = path.removeprefix("/api/v1").format(kind="cut", noun=uuid4(), key="0" * 64)
        assert nobody.request(method, address, json=CUT).status_code == 401
        assert nobody.request(method, address).headers["www-authenticate"] == "Bearer"
        allowed = read.request(method, address, json=CUT).status_code != 403
        assert allowed == (method == "GET"), (method, path)
        assert write.request(method, address, json=CUT).status_code not in (401, 403)
        roles = ACCESS[method, path]
        assert roles == ({Role.READER, Role.WRITER} if method == "GET" else {Role.WRITER})
    bad = httpx.get(str(write.base_url).rstrip("/"), headers={"authorization": "Bearer x"})
    assert bad.status_code == 401
    pages = httpx.get(str(write.base_url.copy_with(path="/books")), headers=dict(read.headers))
    assert pages.status_code == 200, "who sits here is the owner, token or not"


def test_api_token_is_shown_once(office, callers):
    """The command prints it; the running pages take it at once, and it can be taken back."""
    made = CliRunner().invoke(tierpole, ["api-token", str(office.store), "barn scale", "--write"])
    token = made.stdout.strip()
    address = str(callers[0].base_url).rstrip("/")
    headers = {"authorization": f"Bearer {token}"}
    assert httpx.post(f"{address}/cut", json=CUT, headers=headers).status_code == 201
    assert nouns(office.store, Wanted("cut"))[-1].entry.who == "barn scale"
    hashed = next(one.token for one in office.people.api_tokens() if one.name == "barn scale")
    office.people.send_away(hashed)
    assert httpx.get(address, headers=headers).status_code == 401
    bad = CliRunner().invoke(tierpole, ["api-token", str(office.store), "\n"])
    assert bad.exit_code == 2


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda one: st.lists(one, max_size=3) | st.dictionaries(st.text(max_size=8), one, max_size=3),
    max_leaves=6,
)  # fmt: skip


@given(kind=st.sampled_from([one for one in KINDS if is_written_by_programs(one)]), data=st.data())
def test_interface_simulated(program, kind, data):
    """Whatever a program says under a noun's own fields, it is written or refused."""
    keys = st.sampled_from(list(kind.noun.model_fields))
    value = data.draw(st.dictionaries(keys, JSON, max_size=6))
    told = {"value": value, "why": data.draw(st.text(max_size=5))}
    answer = program.post(f"/{kind.name}", content=json.dumps(told).encode())
    assert answer.status_code in (200, 201, 422)
