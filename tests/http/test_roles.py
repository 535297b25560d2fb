"""Who may call what: roles, tokens, and the wall between shops."""

from typing import Any

import pytest
from django.test import Client

from shop.people.models import Person, Token
from tests.api import Api
from tests.factories import PersonFactory
from tests.http.conftest import Bodies

pytestmark = pytest.mark.django_db

CATALOGUE = ["fits/", "kinds/", "specs/"]
STOCK = ["bins/", "plates/", "lots/", "hand-outs/", "counts/"]
LISTS = [*CATALOGUE, *STOCK, "matches/", "ledger/"]
MAY = {
    "owner": {*CATALOGUE, *STOCK, "matches/"},
    "bench": {*STOCK, "matches/"},
    "counter": {*STOCK, "matches/"},
    "buyer": set(CATALOGUE),
}


@pytest.mark.parametrize("role", sorted(MAY))
def test_each_role_writes_its_own_and_reads_all(owner: Person, bodies: Bodies, role: str) -> None:
    api = Api(PersonFactory.create(shop=owner.shop, role=role))
    for path, body in bodies.items():
        reply = api.post(path, body)
        assert reply.status == (201 if path in MAY[role] else 403), (role, path)
        if reply.status == 403:
            assert reply.code == "wrong_role" and role in reply.body["detail"]
    assert {api.get(path).status for path in LISTS} == {200}


@pytest.mark.parametrize(
    ("act", "body"),
    [
        ("matches/{open}/take/", {"option": 1}),
        ("matches/{open}/hold/", {"option": 1}),
        ("matches/{open}/release/", {}),
        ("matches/{taken}/final/", {"readings": ["0.05 in"], "method": "feeler"}),
        ("plates/{lies}/scrap/", {"reason": "burnt"}),
        ("plates/{lies}/rework/", {"readings": ["0.076 in"]}),
        ("plates/{gone}/put-back/", {"readings": ["0.077 in"]}),
    ],
)
def test_a_buyer_moves_no_plate(owner: Person, ids: dict[str, str], act: str, body: dict[str, Any]) -> None:
    reply = Api(PersonFactory.create(shop=owner.shop, role="buyer")).post(act.format(**ids), body)
    assert (reply.status, reply.code) == (403, "wrong_role")


@pytest.mark.parametrize(
    "header", [None, "", "Token", "Token x", "Token a b", "Bearer {token}", "Basic eDp5", "Token ü"]
)
def test_without_a_good_token_nobody_comes_in(api: Api, header: str | None) -> None:
    headers = {} if header is None else {"HTTP_AUTHORIZATION": header.format(token=api.token)}
    client = Client(raise_request_exception=False)
    for response in (
        client.get("/api/v1/plates/", **headers),
        client.post("/api/v1/fits/", "{}", content_type="application/json", **headers),
    ):
        assert (response.status_code, response.json()["code"]) == (401, "unauthenticated")
        assert response.headers["Content-Type"] == "application/problem+json"
        assert "Token" in response.headers["WWW-Authenticate"]


def test_who_left_the_shop_stays_out(api: Api) -> None:
    Person.objects.filter(pk=api.person.pk).update(is_active=False)
    assert api.get("plates/").status == 401


def test_only_the_hash_of_a_token_is_kept(api: Api) -> None:
    assert api.token not in str(list(Token.objects.values()))


def test_another_shop_sees_and_moves_nothing(bodies: Bodies, ids: dict[str, str], api: Api) -> None:
    theirs = Api(PersonFactory.create())
    assert {theirs.get(path).body["count"] for path in LISTS} == {0}
    spec = bodies["matches/"]["spec"]
    for path in (f"plates/{ids['lies']}/", f"matches/{ids['open']}/", f"specs/{spec}/", "bins/B-14/"):
        assert theirs.get(path).status == 404
    for act, body in [
        (f"matches/{ids['open']}/take/", {"option": 1}),
        (f"plates/{ids['lies']}/scrap/", {"reason": "burnt"}),
        ("hand-outs/", {"plates": [ids["lies"]], "reason": "cash"}),
    ]:
        assert theirs.post(act, body).status in (400, 404)
    for path in ("kinds/", "specs/", "bins/", "plates/", "lots/", "counts/", "matches/"):
        assert theirs.post(path, bodies[path]).status == 400, path
    assert api.get(f"plates/{ids['lies']}/").body["state"] == "on_shelf"
