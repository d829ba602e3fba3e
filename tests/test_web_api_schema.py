"""The JSON interface held to its own description by others: Schemathesis and a validator."""

from __future__ import annotations

import os
import time
from hashlib import sha256

import httpx
import jsonschema
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from openapi_spec_validator import OpenAPIV31SpecValidator
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import ignored_auth, positive_data_acceptance

from books_office import quick_office, written
from page_server import served
from tierpole.farm.books import Licence, Scouting
from tierpole.office.interface import BASE, CONTENT, described, is_written_by_programs
from tierpole.office.people import Limit
from tierpole.records import KINDS, Change, Wanted, nouns, write
from tierpole.web import create_app
from tierpole.web.access import Gate

PNG = b"\x89PNG\r\n\x1a\n" + b"0" * 64
PDF = b"%PDF-1.7\n" + b"0" * 64
EXAMPLES = int(os.environ.get("TIERPOLE_EXAMPLES", "1"))  # of each operation and mode
OPEN = 10**9  # calls: a fuzzer may knock as often as it likes


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    with quick_office(tmp_path_factory.mktemp("schema")) as office:
        yield office


@pytest.fixture(scope="module")
def headers(office):
    token = office.people.new_api_token("fuzzer", "write")
    return {"authorization": f"Bearer {token}", "host": "localhost"}


@pytest.fixture(scope="module")
def program(office, headers):
    said = {"authorization": headers["authorization"]}
    with (
        served(office) as address,
        httpx.Client(base_url=f"{address}{BASE}", headers=said) as client,
    ):
        yield client


def test_description_against_openapi_spec_validator():
    """The whole description is sound OpenAPI 3.1. Source: openapi-spec-validator, which holds it
    to the OpenAPI Initiative's own schema and rules."""
    assert list(OpenAPIV31SpecValidator(described()).iter_errors()) == []


def _operations():
    """Every operation, or, where few examples are wanted, those of each shape of noun once."""
    schema = schemathesis.openapi.from_dict(described())
    found = [one.ok() for one in schema.get_all_operations()]
    if EXAMPLES > 1:
        return found
    read = {f"{BASE}/{kind.name}" for kind in KINDS if kind.name not in ("cut", "plan")}
    same = (f"{one}{end}" for one in read for end in ("", "/{noun}", "/{noun}/history"))
    told, alike = {f"{one}/{{noun}}/withdraw" for one in read}, set(same)
    return [
        one for one in found
        if one.path not in told and (one.method == "post" or one.path not in alike)
    ]  # fmt: skip


def hold(operation, mode, headers):
    """Call an operation with what its description allows, or with what it does not."""
    left_out = [ignored_auth]
    if operation.method != "get":
        left_out.append(positive_data_acceptance)

    def called(case):
        case.call_and_validate(headers=headers, excluded_checks=left_out)

    settings(
        max_examples=EXAMPLES, deadline=None, derandomize=True, database=None,
        phases=[Phase.generate], suppress_health_check=list(HealthCheck),
    )(given(case=operation.as_strategy(generation_mode=mode))(called))()  # fmt: skip


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
def test_interface_simulated(office, headers, mode):
    """No failure, each answer of the type and form that is described, wrong data refused: by the
    checks of Schemathesis. That a token is asked for is tested elsewhere; sound data may still
    name a lot that is not in the books."""
    gate = Gate(office.people, writes=Limit(OPEN, 60.0, time.monotonic))
    app = create_app(office, gate)
    schema = schemathesis.openapi.from_asgi(f"{BASE}/openapi.json", app, headers=headers)
    wanted = {(one.method, one.path) for one in _operations()}
    found = [one.ok() for one in schema.get_all_operations()]
    chosen = [one for one in found if (one.method, one.path) in wanted]
    for operation in chosen:
        hold(operation, mode, headers)
    assert len(chosen) >= sum(is_written_by_programs(kind) for kind in KINDS)


@pytest.mark.parametrize(("data", "kind"), [(PNG, "image/png"), (PDF, "application/pdf")])
def test_contents_limits(program, office, data, kind):
    """Kept once by its hash, given back to the byte; a noun may name it from then on."""
    before = written(office)
    first, again = (program.post("/content", content=data) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert first.json() == {"hash": sha256(data).hexdigest(), "size": len(data),
                            "media_type": kind}  # fmt: skip
    back = program.get(f"/content/{first.json()['hash']}")
    assert (back.content, back.headers["content-type"]) == (data, kind)
    assert written(office) == before
    note = {"lot": "2 Bank", "seen_on": "2026-09-10", "what": "mould", "photo": "f" * 64}
    refused = program.post("/scouting", json={"value": note})
    assert refused.status_code == 422
    assert refused.json()["faults"][0]["field"] == "photo"
    note["photo"] = first.json()["hash"]
    assert program.post("/scouting", json={"value": note}).status_code == 201
    assert nouns(office.store, Wanted("scouting"))[-1].noun == Scouting.model_validate(note)


@pytest.mark.parametrize(
    ("data", "status"),
    [(b"", 422), (b"<script>", 422), (b"MZ" + b"\0" * 99, 422), (PNG + b"0" * 12_500_000, 422),
     (b"0" * 14_000_000, 413)],
)  # fmt: skip
def test_bad_contents_against_rfc9457(program, data, status):
    """Refused by what they are, as a problem document. Source: RFC 9457, section 3."""
    answer = program.post("/content", content=data)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    jsonschema.validate(answer.json(), {"$ref": "#/components/schemas/Problem", **described()})
    for key in ("x", "0" * 64):
        assert program.get(f"/content/{key}").status_code == (404 if len(key) == 64 else 422)


def test_a_key_used_for_another_body_is_a_conflict(program):
    """As RFC 9110 has it: 409."""
    memo = {"value": {"written_on": "2026-09-10", "text": "one"}}
    headers = {"idempotency-key": "memo 1"}
    assert program.post("/memo", json=memo, headers=headers).status_code == 201
    other = {"value": memo["value"] | {"text": "two"}}
    answer = program.post("/memo", json=other, headers=headers)
    assert answer.status_code == 409
    assert answer.headers["content-type"] == "application/problem+json"


def test_only_tierpole_writes_says_what_is_allowed(program):
    """A method that is not there names those that are. Source: RFC 9110, section 15.5.6."""
    answer = program.post("/plan", json={"value": {}})
    assert (answer.status_code, answer.headers["allow"]) == (405, "GET")


def test_season_plan_and_deadlines_limits(program, office):
    """The plan in force by the hash of its inputs; the days to keep, soonest first, by rule."""
    told = program.get("/season-plan").json()
    kept = office.kept(office.mark)
    assert (told["mark"], told["inputs"]) == (kept.mark, kept.inputs)
    assert told["plan"] == kept.document.plan.model_dump(mode="json", exclude_unset=True)
    assert {len(told["inputs"]), CONTENT} == {64, "^[0-9a-f]{64}$"}
    days = program.get("/deadlines").json()
    assert [one["day"] for one in days] == sorted(one["day"] for one in days)
    assert all(one["citation"] for one in days if one["due"] == "last day to cut")


def test_a_licence_is_renewed_in_time(program, office):
    """Its last day is among the days to keep until the books hold the next one."""
    old = {"name": "Grower licence", "number": "17", "authority": "the department",
           "valid_from": "2025-11-01", "expires_on": "2026-10-01"}  # fmt: skip
    write(office.store, [Change(Licence.model_validate(old))], "Ann")

    def said():
        return [one["what"] for one in program.get("/deadlines").json() if one["due"] == "licence"]

    assert any("Grower licence" in what for what in said())
    page = httpx.get(f"{str(program.base_url).split('/api')[0]}/").text
    assert "Grower licence" in page
    new = old | {"number": "18", "valid_from": "2026-09-09", "expires_on": "2027-10-31"}
    write(office.store, [Change(Licence.model_validate(new))], "Ann")
    assert not any("Grower licence" in what for what in said())
