"""Idempotency-Key: one act, once, whatever the line does."""

from typing import Any

import pytest
from django.db import connection

from plates.bench.models import Match
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import HandOut, Lot, Plate
from shop.people.models import Person, RequestKey
from tests.api import Api
from tests.factories import PersonFactory
from tests.http.conftest import Bodies

pytestmark = pytest.mark.django_db

PATHS = ["fits/", "kinds/", "specs/", "bins/", "plates/", "lots/", "hand-outs/", "counts/", "matches/"]


@pytest.mark.parametrize("path", PATHS)
def test_the_same_again_is_replayed(api: Api, bodies: Bodies, path: str) -> None:
    first = api.post(path, bodies[path], key="press")
    count = api.get(path).body["count"]
    again = api.post(path, bodies[path], key="press")
    assert (first.status, first) == (201, again)
    assert api.get(path).body["count"] == count


@pytest.mark.parametrize("path", ["plates/", "lots/", "matches/"])
def test_without_a_key_two_are_two(api: Api, bodies: Bodies, path: str) -> None:
    first, second = (api.post(path, bodies[path]).body["id"] for _ in range(2))
    assert first != second


def test_quoted_and_bare_are_one_key(api: Api, bodies: Bodies) -> None:
    made = [api.post("plates/", bodies["plates/"], key=key).body["id"] for key in ("press-1", '"press-1"', " press-1 ")]
    assert len(set(made)) == 1
    escaped = [api.post("plates/", bodies["plates/"], key=key).body["id"] for key in (r'"a\"b\\c"', r'a"b\c')]
    assert len(set(escaped)) == 1


def test_members_in_another_order_are_the_same_body(api: Api, bodies: Bodies) -> None:
    body = bodies["plates/"]
    turned = dict(reversed(body.items()))
    assert list(turned) != list(body)
    assert api.post("plates/", body, key="press") == api.post("plates/", turned, key="press")


@pytest.mark.parametrize("key", ["", '""', "x" * 256, "ü", "a\x7fb", "a\tb"])
def test_a_key_that_is_none_is_refused(api: Api, bodies: Bodies, key: str) -> None:
    before = Plate.objects.count()
    assert api.post("plates/", bodies["plates/"], key=key).status == 400
    assert Plate.objects.count() == before


@pytest.mark.parametrize("key", ["x", "x" * 255, '"' + "x" * 255 + '"', "a b", "0198c0de-0000-7000-8000-000000000000"])
def test_keys_of_one_to_255(api: Api, bodies: Bodies, key: str) -> None:
    assert api.post("plates/", bodies["plates/"], key=key) == api.post("plates/", bodies["plates/"], key=key)


def test_another_request_under_the_key_is_refused_before_anything_else(api: Api, bodies: Bodies) -> None:
    api.post("plates/", bodies["plates/"], key="press")
    count = Plate.objects.count()
    for path, body in [
        ("plates/", {**bodies["plates/"], "readings": ["0.0772 in"]}),
        ("plates/", {"nonsense": True}),
        ("lots/", bodies["plates/"]),
        ("fits/", bodies["fits/"]),
    ]:
        reply = api.post(path, body, key="press")
        assert (reply.status, reply.code) == (422, "key_reused")
    assert Plate.objects.count() == count


def test_another_persons_equal_key_is_another_key(api: Api, owner: Person, bodies: Bodies) -> None:
    other = Api(PersonFactory.create(shop=owner.shop))
    first, second = (who.post("plates/", bodies["plates/"], key="press").body["id"] for who in (api, other))
    assert first != second


def test_a_failed_attempt_leaves_no_key(api: Api, bodies: Bodies) -> None:
    bad = {**bodies["plates/"], "readings": ["1.955 in"]}
    assert api.post("plates/", bad, key="press").status == 422
    assert api.post("plates/", {}, key="press").status == 400
    assert RequestKey.objects.count() == 0
    assert api.post("plates/", bodies["plates/"], key="press").status == 201


def test_a_refused_take_may_be_tried_again_under_its_key(api: Api, ids: dict[str, str]) -> None:
    path = f"matches/{ids['taken']}/take/"
    assert [api.post(path, {"option": 1}, key="press").code for _ in range(2)] == ["wrong_state"] * 2


@pytest.mark.parametrize("act", ["hold", "take"])
def test_acts_are_replayed_as_they_were(api: Api, ids: dict[str, str], act: str) -> None:
    """The answer is that of the time, even when the match has moved on."""
    path = f"matches/{ids['open']}/{act}/"
    first = api.post(path, {"option": 1}, key="press")
    lines = LedgerLine.objects.count()
    follow = {"hold": ("release", {}), "take": ("final", {"readings": ["0.054 in"] * 2, "method": "feeler"})}
    name, body = follow[act]
    assert api.post(f"matches/{ids['open']}/{name}/", body).status == 200
    after = LedgerLine.objects.count()
    assert api.post(path, {"option": 1}, key="press") == first
    assert LedgerLine.objects.count() == after >= lines


MADE: dict[str, Any] = {"plates/": Plate, "lots/": Lot, "hand-outs/": HandOut, "matches/": Match}


@pytest.mark.parametrize("path", sorted(MADE))
@pytest.mark.parametrize("how", ["the row is gone", "the row has expired"])
def test_a_key_stays_on_what_it_made(api: Api, bodies: Bodies, path: str, how: str) -> None:
    """Long after the answer was forgotten, the same press makes nothing again."""
    assert api.post(path, bodies[path], key="press").status == 201
    count, lines = MADE[path].objects.count(), LedgerLine.objects.count()
    sql = {
        "the row is gone": "DELETE FROM shop_requestkey",
        "the row has expired": "UPDATE shop_requestkey SET made_at = made_at - interval '31 days'",
    }[how]
    with connection.cursor() as cursor:
        cursor.execute(sql)
    if path == "hand-outs/":
        # The plate is gone too, which is found first.
        assert api.post(path, bodies[path], key="press").status == 409
    else:
        reply = api.post(path, bodies[path], key="press")
        assert (reply.status, reply.code) == (409, "key_spent")
    assert (MADE[path].objects.count(), LedgerLine.objects.count()) == (count, lines)
