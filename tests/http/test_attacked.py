"""What an attack found once: each stays mended."""

import json
from http.client import HTTPConnection
from pathlib import Path
from wsgiref.util import setup_testing_defaults

import pytest
from django.test import Client

from shop.people.models import Person, Token
from shop.wsgi import application
from tests.api import Api
from tests.conftest import Urls
from tests.factories import PersonFactory, shelve
from tests.service import serving
from tests.shelves import question, shelf_of


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["get", "post", "put", "patch", "delete"])
@pytest.mark.parametrize("path", ["ordered/", "fits", "matches/1/undo/", "nowhere/"])
def test_an_unknown_address_is_a_problem_by_every_method(method: str, path: str) -> None:
    """With the checks that a browser's form would meet."""
    client = Client(enforce_csrf_checks=True)
    response = client.generic(method.upper(), f"/api/v1/{path}", "{}", content_type="application/json")
    assert (response.status_code, response["Content-Type"]) == (404, "application/problem+json")


@pytest.mark.processes
def test_a_body_in_pieces_is_not_read_as_an_empty_one(fresh_db: Urls, tmp_path: Path) -> None:
    token = Token.make(PersonFactory.create())
    with serving(fresh_db, tmp_path / "data") as service:
        connection = HTTPConnection("127.0.0.1", service.port, timeout=60)
        headers = {"Authorization": f"Token {token}", "Content-Type": "application/json"}
        pieces = iter([b'{"code": "A", ', b'"teeth": 36}'])
        connection.request("POST", "/api/v1/fits/", pieces, headers, encode_chunked=True)
        response = connection.getresponse()
        assert (response.status, json.loads(response.read())["code"]) == (411, "length_required")
        connection.close()


CHARSETS = [
    "charset=rot13", "charset=base64", "charset=undefined", "charset=utf-16", "CHARSET*=utf-8''idna", "x*=none''y",
]  # fmt: skip


@pytest.mark.django_db
@pytest.mark.parametrize("named", [*CHARSETS, "charset=utf-8", 'Charset="UTF8"', "charset*=utf-8''utf-8", "boundary=x"])
@pytest.mark.parametrize("path", ["/sign-in/", "/api/v1/bins/", "/static/none.css"])
def test_a_charset_that_is_none_is_refused_before_anything_is_decoded_by_it(path: str, named: str) -> None:
    """At the door of the service: the test client goes round it."""
    said: list[str] = []
    told: dict[str, str] = {}
    environ = {"CONTENT_TYPE": f"application/json; {named}", "PATH_INFO": path, "QUERY_STRING": "a=%ff"}
    setup_testing_defaults(environ)

    def start(status: str, headers: list[tuple[str, str]]) -> None:
        said.append(status)
        told.update(headers)

    answer = application({**environ, "HTTP_HOST": "127.0.0.1"}, start)
    assert said[0][:3] == "415" if named in CHARSETS else said[0][:3] in ("200", "401", "404")
    assert told["X-Content-Type-Options"] == "nosniff" and "frame-ancestors 'none'" in told["Content-Security-Policy"]
    if said[0][:3] == "415":
        assert json.loads(b"".join(answer))["code"] == "unsupported_media_type"


@pytest.mark.django_db
def test_a_pack_on_its_target_is_left_alone(api: Api, owner: Person) -> None:
    shelf = shelf_of(owner)
    shelf.stock("0.0771 in", "0.0768 in")
    match = api.post("matches/", question("0.0500 in", ["0.0700 in"] * 5)).body
    assert [(option["changes"], option["confidence"]) for option in match["options"]] == [(0, "sure")]


@pytest.mark.django_db
def test_an_option_offered_before_shows_the_fresh_ones(api: Api, owner: Person) -> None:
    shelf = shelf_of(owner, count=1)
    (only,) = shelve(owner, shelf.kind, "0.0790 in")
    asked = question("0.0190 in", ["0.0700 in"])
    mine, other = api.post("matches/", asked).body, api.post("matches/", asked).body
    assert api.post(f"matches/{other['id']}/take/", {"option": 1}).status == 200
    for _ in range(2):
        status, body = api.post(f"matches/{mine['id']}/take/", {"option": 1})
        assert (status, body["code"], body["options"]) == (409, "stock_moved", [])
    assert api.post(f"matches/{mine['id']}/take/", {"option": 7}).status == 400
    assert only.pk


@pytest.mark.django_db
@pytest.mark.parametrize("reason", ["cash", "lent", "own_use", "warranty"])
def test_a_customers_plate_is_handed_out_for_no_reason_but_loss(api: Api, owner: Person, reason: str) -> None:
    (theirs,) = shelf_of(owner).stock("0.0770 in", owner="a customer")
    assert api.post("hand-outs/", {"plates": [str(theirs.pk)], "reason": reason}).code == "customers_plate"
    assert api.post("hand-outs/", {"plates": [str(theirs.pk)], "reason": "lost"}).status == 201


@pytest.mark.django_db
def test_a_batch_of_the_far_future_is_none(owner: Person) -> None:
    shelf = shelf_of(owner)
    client = Client()
    client.force_login(owner)
    address = f"/scan-in/kind/{shelf.kind.code}/?batch=ffffffff-ffff-7fff-bfff-ffffffffffff"
    assert client.get(address, follow=True).status_code == 200


@pytest.mark.parametrize("path", ["gauges/%00/checks/", "gauges/%00/affected/", "gauges/%00/"])
def test_a_nul_for_a_gauge_is_not_found(api: Api, path: str) -> None:
    assert api.get(path).status == 404


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["missed/", "ledger/", "residuals/"])
@pytest.mark.parametrize(
    ("since", "status"), [("2026-01-01T00:00:00-23:59", 200), ("9999-12-31T23:59:59-23:59", 400), ("soon", 400)]
)
def test_a_time_of_any_offset_is_read_or_refused(api: Api, path: str, since: str, status: int) -> None:
    assert api.get(path, since=since).status == status
