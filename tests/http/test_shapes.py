"""Every call of the contract: its code, its shape, and the page that shows it again."""

from typing import Any

import pytest

from tests.api import Api
from tests.http.conftest import Bodies

pytestmark = pytest.mark.django_db

LENGTH = {"nm", "in", "mm"}
OPTION = {"number", "way", "changes", "predicted", "u", "probability", "confidence", "out", "in"}
MATCH = {
    "id", "number", "state", "job", "clearance", "as_read", "u", "window", "verdict", "options", "shortfall",
    "cautions", "slip", "residual",
}  # fmt: skip
BY_CODE = ["fits/", "kinds/", "specs/", "bins/"]
BY_ID = ["plates/", "lots/", "hand-outs/", "matches/"]


@pytest.mark.parametrize("path", BY_CODE + BY_ID)
def test_what_is_made_is_shown_by_itself_and_on_a_page(api: Api, bodies: Bodies, path: str) -> None:
    before = api.get(path).body["count"]
    status, made = api.post(path, bodies[path])
    assert status == 201
    one = api.get(f"{path}{made['code'] if path in BY_CODE else made['id']}/")
    assert one.status == 200
    assert {name: made[name] for name in one.body if path in BY_CODE} == (one.body if path in BY_CODE else {})
    assert one.body["id"] == made["id"]
    page = api.get(path).body
    assert set(page) == {"count", "next", "previous", "results"}
    assert page["count"] == before + 1
    assert one.body in page["results"]


@pytest.mark.parametrize("path", [*BY_CODE, *BY_ID, "counts/", "ledger/"])
def test_nothing_there_is_a_404(api: Api, path: str) -> None:
    for name in ("NOT-THERE", "00000000-0000-7000-8000-000000000000", "a b", "%00", "ü"):
        reply = api.get(f"{path}{name}/")
        assert (reply.status, reply.code) == (404, "not_found"), name


def test_a_spec_shows_its_count_and_its_window(api: Api, bodies: Bodies) -> None:
    spec = api.post("specs/", bodies["specs/"]).body
    assert spec["counted_frictions"] == 4
    assert {name: spec["window"][name]["in"] for name in ("low", "high", "target")} == {
        "low": "0.0320", "high": "0.0480", "target": "0.0400",
    }  # fmt: skip
    assert spec["window"]["source"] == "rule"
    half = [bodies["specs/"]["slots"][0], {**bodies["specs/"]["slots"][1], "count": 5, "lined_faces": 1}]
    assert api.post("specs/", {**bodies["specs/"], "code": "HALF", "slots": half}).body["counted_frictions"] == 2.5


def test_a_plate(api: Api, bodies: Bodies) -> None:
    plate = api.post("plates/", bodies["plates/"]).body
    assert {"id", "kind", "fit", "bin", "thickness", "spread", "state", "warnings"} <= set(plate)
    assert set(plate["thickness"]) == LENGTH
    # Half-even: .07705 in is half way between two places.
    assert plate["thickness"] == {"nm": 1_957_070, "in": "0.0770", "mm": "1.957"}


def test_a_match_and_its_options(api: Api, ids: dict[str, str]) -> None:
    match = api.get(f"matches/{ids['open']}/").body
    assert set(match) >= MATCH
    assert set(match["window"]) >= {"low", "high", "target", "source", "counted_frictions"}
    assert [option["number"] for option in match["options"]] == list(range(1, len(match["options"]) + 1))
    for option in match["options"]:
        assert set(option) >= OPTION
        assert set(option["predicted"]) == set(option["u"]) == LENGTH
        assert 0 < option["probability"] <= 1
        assert (option["confidence"] == "sure") is (option["probability"] >= 0.95)
        assert [set(row) for row in option["out"]] == [{"slot", "thickness"}] * option["changes"]
        for row in option["in"]:
            assert set(row) >= {"slot", "plate", "bin", "kind", "thickness"}


def test_a_shortfall(api: Api, bodies: Bodies) -> None:
    match = api.post("matches/", {**bodies["matches/"], "readings": ["0.1200 in"] * 2}).body
    assert match["options"] == []
    assert set(match["shortfall"]) == {"reason", "nearest", "would_close", "say", "holds"}
    assert set(match["shortfall"]["nearest"]) >= {"predicted", "changes"}
    rows = match["shortfall"]["would_close"]
    assert [set(row) for row in rows] == [{"slot", "fit", "role", "count", "from", "to"}] * len(rows)
    assert [row["count"] for row in rows] == sorted(row["count"] for row in rows)


def test_the_acts_on_a_match(api: Api, ids: dict[str, str]) -> None:
    def act(name: str, body: dict[str, Any]) -> tuple[int, str]:
        status, match = api.post(f"matches/{ids['open']}/{name}/", body)
        assert set(match) >= MATCH
        return status, match["state"]

    assert act("hold", {"option": 1}) == (200, "held")
    assert act("release", {}) == (200, "open")
    number = api.get(f"matches/{ids['open']}/").body["options"][0]["number"]
    assert number > 1
    assert act("take", {"option": number}) == (200, "taken")
    slip = api.get(f"matches/{ids['open']}/").body["slip"]
    assert [set(row) >= {"plate", "kind", "bin", "thickness", "slot"} for row in slip] == [True]
    assert act("final", {"readings": ["0.0540 in", "0.0540 in"], "method": "feeler"}) == (200, "closed")


@pytest.mark.parametrize(
    ("act", "body", "state", "status"),
    [
        ("take", {"option": 1}, "taken", 409),
        ("hold", {"option": 1}, "taken", 409),
        ("release", {}, "taken", 409),
        ("release", {}, "open", 409),
        ("final", {"readings": ["0.05 in"], "method": "feeler"}, "open", 409),  # nothing built yet
        ("take", {"option": 99}, "open", 400),
    ],
)
def test_acts_out_of_order(
    api: Api, ids: dict[str, str], act: str, body: dict[str, Any], state: str, status: int
) -> None:
    reply = api.post(f"matches/{ids[state]}/{act}/", body)
    assert reply.status == status
    if status == 409:
        assert reply.code == "wrong_state"


@pytest.mark.parametrize("path", ["plates/", "matches/"])
def test_acts_on_nothing_are_a_404(api: Api, path: str) -> None:
    nobody = "00000000-0000-7000-8000-000000000000"
    acts = ["put-back", "rework", "scrap"] if path == "plates/" else ["take", "hold", "release", "final"]
    for act in acts:
        for name in (nobody, "x"):
            assert api.post(f"{path}{name}/{act}/", {}).status in (400, 404)
    body = {"plates/": {"reason": "burnt"}, "matches/": {"option": 1}}[path]
    assert api.post(f"{path}{nobody}/{'scrap' if path == 'plates/' else 'take'}/", body).status == 404


def test_codes_are_unique_in_a_shop(api: Api, bodies: Bodies) -> None:
    for path in BY_CODE:
        assert api.post(path, bodies[path]).status == 201
        again = dict(bodies[path])
        if path == "bins/":
            again |= {"from": "0.0795 in", "to": "0.0805 in"}
        reply = api.post(path, again)
        assert (reply.status, reply.code) == (409, "code_taken"), path


def test_other_methods_and_addresses_are_problems_too(api: Api) -> None:
    put = api.client.put("/api/v1/fits/", HTTP_AUTHORIZATION=f"Token {api.token}")
    assert (put.status_code, put.json()["code"]) == (405, "method_not_allowed")
    assert put.headers["Content-Type"] == "application/problem+json"
    for path in ("", "nothing/", "plates/x/y/z/"):
        assert api.get(path).status == 404
    assert api.client.post("/api/v1/ledger/", HTTP_AUTHORIZATION=f"Token {api.token}").status_code == 405
