"""Programs read by tokens: scopes, offices and revocation hold; the answers fit the description."""

import hashlib
import json

import icalendar
import jsonschema
import pytest
from starlette.responses import PlainTextResponse
from starlette.testclient import TestClient

from handsfree.api.described import description
from handsfree.api.site import ApiSite, WithApi
from handsfree.api.tokens import FILE, ApiTokens, TokenScope
from handsfree.problem import Problem

ALL = list(TokenScope)


@pytest.fixture
def tokens(tmp_path):
    return ApiTokens(tmp_path / "state")


@pytest.fixture
def client(store, tokens):
    site = WithApi(PlainTextResponse("the desk"), ApiSite(store, tokens).application())
    return TestClient(site)


def get(client, path, token, **more):
    return client.get(f"/api/v1/{path}", headers={"Authorization": f"Bearer {token}"}, **more)


def fits(answer, path):
    """Hold an answer against the published description, by another's validator (jsonschema)."""
    described = description()
    content = described["paths"][path]["get"]["responses"]["200"]["content"]["application/json"]["schema"]
    jsonschema.validate(answer, {**content, "components": described["components"]})


def test_visits_come_in_pages_each_once_newest_first(client, tokens):
    token = tokens.make("bi", [TokenScope.VISITS])
    address, found = "/api/v1/visits", []
    while address:
        answer = client.get(address, headers={"Authorization": f"Bearer {token}"}).json()
        fits(answer, "/visits")
        found += answer["items"]
        address = answer["next"]
    assert answer["total"] == len(found) == len({visit["key"] for visit in found}) == 120
    assert [visit["day"] for visit in found] == sorted((visit["day"] for visit in found), reverse=True)
    assert len(get(client, "visits?outcome=stopped", token).json()["items"]) == 40
    one = get(client, f"visits/{found[3]['key']}", token).json()
    fits(one, "/visits/{key}")
    assert one == found[3]
    assert get(client, "visits/nothing", token).status_code == 404


def test_open_hazards_come_gravest_first_and_lead_to_their_visits(client, tokens):
    answer = get(client, "hazards", tokens.make("alarm", [TokenScope.HAZARDS])).json()
    fits(answer, "/hazards")
    assert len(answer["items"]) == 40
    assert answer["items"][0] | {"visit": "", "serial": "", "day": ""} == {
        "visit": "", "serial": "", "day": "", "kind": "stop", "says": "Gas smell, not cleared", "weight": 90,
        "entry": 7,
    }  # fmt: skip


def test_a_token_of_one_office_sees_no_other(client, tokens):
    token = tokens.make("north", ALL, ["north"])
    answer = get(client, "visits", token).json()
    assert answer["total"] == 60
    assert {visit["office"] for visit in answer["items"]} == {"north"}
    other = get(client, "visits?office=south", token).json()
    assert other["total"] == 0
    south = f"{1:016x}"
    assert get(client, f"visits/{south}", token).status_code == 404
    assert "job 1" not in get(client, "hazards", token).text
    assert b"LM-001" not in get(client, "calendar.ics", token).content


@pytest.mark.parametrize("header", ["", "Bearer", "Bearer ", "Bearer hf_wrong", "Basic hf_wrong", "hf_wrong"])
def test_without_a_token_nothing_is_told(client, header):
    answer = client.get("/api/v1/visits", headers={"Authorization": header})
    assert answer.status_code == 401
    assert "job" not in answer.text


def test_scopes_and_revocation_hold_at_once(client, tokens):
    token = tokens.make("calendar", [TokenScope.CALENDAR])
    assert get(client, "visits", token).status_code == 403
    assert get(client, "hazards", token).status_code == 403
    assert client.get(f"/api/v1/calendar.ics?token={token}").status_code == 200
    tokens.revoke("calendar")
    assert client.get(f"/api/v1/calendar.ics?token={token}").status_code == 401
    visits = tokens.make("bi", [TokenScope.VISITS])
    assert client.get(f"/api/v1/visits?token={visits}").status_code == 401  # an address ends up in logs


def test_only_hashes_of_tokens_are_kept(tokens, tmp_path):
    token = tokens.make("bi", ALL)
    kept = tmp_path / "state" / FILE
    assert token not in kept.read_text()
    assert hashlib.sha256(token.encode()).hexdigest() in kept.read_text()
    assert kept.stat().st_mode & 0o077 == 0
    with pytest.raises(Problem, match="of this name"):
        tokens.make("bi", ALL)
    with pytest.raises(Problem, match="no token of this name"):
        tokens.revoke("other")


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
def test_nothing_can_be_written(client, tokens, method):
    token = tokens.make("bi", ALL)
    answer = client.request(method, "/api/v1/visits", headers={"Authorization": f"Bearer {token}"})
    assert answer.status_code == 405


def test_the_desk_lies_beside_it(client):
    assert client.get("/visit/x").text == "the desk"


def test_the_description_names_only_what_there_is(client, tokens):
    described = client.get("/api/v1/openapi.json").json()
    assert described == json.loads(json.dumps(description()))
    token = tokens.make("all", ALL)
    for path in described["paths"]:
        answer = get(client, path.removeprefix("/").replace("{key}", f"{1:016x}"), token)
        assert answer.status_code == 200, path
    for schema in described["components"]["schemas"].values():
        jsonschema.Draft202012Validator.check_schema(schema)  # OpenAPI 3.1 schemas are JSON Schema 2020-12


def test_the_calendar_is_one_that_others_read(client, tokens):
    """Read again by the library icalendar: one day for each instrument and each appliance, the latest counts."""
    answer = get(client, "calendar.ics", tokens.make("calendar", [TokenScope.CALENDAR]))
    assert answer.headers["content-type"].startswith("text/calendar")
    events = {str(event["UID"]): event for event in icalendar.Calendar.from_ical(answer.content).walk("VEVENT")}
    assert len(events) == 3 + 100
    assert events["calibration-AN-1@handsfree"].decoded("dtstart").isoformat() == "2027-02-15"
    # Visit 119 is the last one to LM-019, on 2026-05-08: 365 days later.
    assert events["visit-LM-019@handsfree"].decoded("dtstart").isoformat() == "2027-05-08"
    assert events["visit-LM-019@handsfree"]["LOCATION"] == "119 Larkmoor Lane"
