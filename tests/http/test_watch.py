"""What is counted of each request, who may read it, and when the service says that it is ready."""

import re
from pathlib import Path

import pytest
from django.db import connection
from django.db.utils import ProgrammingError
from django.test import Client

from shop.people.models import Person
from tests.api import Api
from tests.conftest import Urls
from tests.http.conftest import Bodies
from tests.service import serving
from tests.shelves import Shelf

TOKEN = "a-token-of-many-letters"


def figures(text: str) -> dict[str, float]:
    """The samples of a page of metrics, by name and labels."""
    lines = (line.rpartition(" ") for line in text.splitlines() if line and not line.startswith("#"))
    return {name: float(value) for name, _, value in lines}


def read() -> dict[str, float]:
    response = Client().get("/metrics")
    assert response.status_code == 200
    return figures(response.content.decode())


def grown(before: dict[str, float]) -> dict[str, float]:
    """What has grown since, without times of day and buckets."""
    after = {name: value - before.get(name, 0) for name, value in read().items()}
    return {
        n: v for n, v in after.items() if v and n.startswith("plates_") and "_created" not in n and "_bucket" not in n
    }


@pytest.mark.django_db
def test_requests_are_counted_by_view_and_status(api: Api, bodies: Bodies) -> None:
    before = read()
    for code in ("B-14", "B-15", "NONE"):
        api.get(f"bins/{code}/")
    Client().get("/sign-in/")
    Client().get("/nowhere/at/all/")
    found = grown(before)
    assert found['plates_requests_total{status="200",view="api/v1/bins/<str:code>/"}'] == 2
    assert found['plates_requests_total{status="404",view="api/v1/bins/<str:code>/"}'] == 1
    assert found['plates_request_seconds_count{view="api/v1/bins/<str:code>/"}'] == 3
    assert found['plates_requests_total{status="200",view="sign-in"}'] == 1
    assert found['plates_requests_total{status="404",view="none"}'] == 1
    assert not [name for name in found if "B-14" in name or "nowhere" in name]


@pytest.mark.django_db
def test_a_take_that_comes_too_late_is_counted(api: Api, shelf: Shelf, bodies: Bodies) -> None:
    shelf.stock("0.0771 in")
    one, other = (api.post("matches/", bodies["matches/"]).body for _ in range(2))
    before = read()
    for match in (one, other):
        api.post(f"matches/{match['id']}/take/", {"option": match["options"][0]["number"]})
    late = [grown(before).get(f'plates_refused_total{{code="{code}"}}') for code in ("stock_moved", "busy")]
    assert late == [1, None]


@pytest.mark.django_db
def test_statements_that_the_database_refuses_are_counted() -> None:
    before = read()
    with pytest.raises(ProgrammingError), connection.cursor() as cursor:
        cursor.execute("SELECT * FROM nowhere")
    connection.needs_rollback = False
    assert grown(before)['plates_database_errors_total{sqlstate="42P01"}'] == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("environ", "status"),
    [
        ({}, 200),
        ({"REMOTE_ADDR": "::1"}, 200),
        ({"REMOTE_ADDR": "192.0.2.7"}, 403),
        ({"REMOTE_ADDR": ""}, 403),  # a local socket
        ({"HTTP_X_FORWARDED_FOR": "127.0.0.1"}, 403),
        ({"HTTP_X_FORWARDED_PROTO": "https"}, 403),
        ({"HTTP_FORWARDED": "for=127.0.0.1"}, 403),
        ({"REMOTE_ADDR": "192.0.2.7", "HTTP_AUTHORIZATION": f"Bearer {TOKEN}"}, 200),
        ({"HTTP_X_FORWARDED_PROTO": "https", "HTTP_AUTHORIZATION": f"Bearer {TOKEN}"}, 200),
        ({"REMOTE_ADDR": "192.0.2.7", "HTTP_AUTHORIZATION": f"Bearer {TOKEN}x"}, 403),
        ({"REMOTE_ADDR": "192.0.2.7", "HTTP_AUTHORIZATION": "Bearer "}, 403),
    ],
)
def test_metrics_are_for_this_machine_or_with_the_token(settings, environ: dict[str, str], status: int) -> None:
    settings.METRICS_TOKEN = TOKEN
    assert Client().get("/metrics", **environ).status_code == status


@pytest.mark.django_db
def test_without_a_token_set_none_opens(settings) -> None:
    settings.METRICS_TOKEN = ""
    far = {"REMOTE_ADDR": "192.0.2.7", "HTTP_AUTHORIZATION": "Bearer "}
    assert Client().get("/metrics", **far).status_code == 403


@pytest.mark.django_db
def test_a_request_carries_the_id_of_the_proxy_or_one_of_its_own() -> None:
    assert Client().get("/healthz", HTTP_X_REQUEST_ID="0af7651916cd43dd")["X-Request-ID"] == "0af7651916cd43dd"
    for bad in ("", "short", "x" * 65, "two words of it", 'a"quote-here'):
        made = Client().get("/healthz", HTTP_X_REQUEST_ID=bad)["X-Request-ID"]
        assert re.fullmatch("[0-9a-f]{32}", made)


@pytest.mark.django_db
def test_ready_is_who_can_write() -> None:
    assert Client().get("/readyz").json()["status"] == "ok"
    with connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION READ ONLY")
    assert Client().get("/healthz").status_code == 200
    response = Client().get("/readyz")
    assert (response.status_code, response.json()["status"][:23]) == (503, "the database only reads")


@pytest.mark.django_db
def test_who_is_not_healthy_is_not_ready(owner: Person) -> None:
    owner.shop.is_demo, owner.shop.demo_ready = True, False
    owner.shop.save()
    for path in ("/healthz", "/readyz"):
        assert Client().get(path).json()["status"] == "the demo shop is being filled"


def test_a_role_that_may_not_write_is_not_ready(fresh_db: Urls) -> None:
    from django.db import connections

    owner, role = (connections[alias].settings_dict["USER"] for alias in ("owner", "default"))
    if owner == role:
        pytest.skip("one role does both")
    with connections["owner"].cursor() as cursor:
        cursor.execute(f"REVOKE INSERT ON plates_ledgerline FROM {role}")
    assert Client().get("/healthz").status_code == 200
    response = Client().get("/readyz")
    assert response.status_code == 503 and "may not write" in response.json()["status"]


@pytest.mark.processes
def test_metrics_add_up_what_all_workers_have_counted(fresh_db: Urls, tmp_path: Path) -> None:
    from urllib.request import urlopen

    with serving(fresh_db, tmp_path, TMPDIR=str(tmp_path)) as service:

        def now() -> dict[str, float]:
            with urlopen(f"{service.address}/metrics") as answer:
                return figures(answer.read().decode())

        before = now()
        for _ in range(40):
            with urlopen(f"{service.address}/sign-in/"):
                pass
        name = 'plates_requests_total{status="200",view="sign-in"}'
        assert [now()[name] - before.get(name, 0) for _ in range(8)] == [40] * 8
        (directory,) = tmp_path.glob("plates-metrics-*")
        assert len({file.name.rpartition("_")[2] for file in directory.iterdir()}) >= 2  # both workers have answered
    assert not directory.exists()
