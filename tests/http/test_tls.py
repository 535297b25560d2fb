"""Without TLS, by the settings of production: pages are led to https, a call of the API is refused."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.database.processes import ROOT

#: Asked in the clear, and by https as the proxy says it; no database is there.
ASKED = """
import json, sys
import django
django.setup()
from django.test import Client
def told(path, **more):
    answer = Client(raise_request_exception=False).get(path, HTTP_HOST="shop.example", **more)
    return {"status": answer.status_code, "headers": dict(answer.headers), "body": answer.content.decode()}
token = {"HTTP_AUTHORIZATION": "Token sent-in-the-clear"}
tls = {"HTTP_X_FORWARDED_PROTO": "https"}
json.dump({
    "page": told("/bins/"), "call": told("/api/v1/bins/", **token), "nowhere": told("/api/v1/nowhere/", **token),
    "schema": told("/api/v1/schema/"), "by tls": told("/api/v1/nowhere/", **tls), "alive": told("/healthz"),
}, sys.stdout)
"""


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    environ = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "shop.settings",
        "PLATES_ENV": "production",
        "PLATES_HOSTS": "shop.example",
        "PLATES_SECRET_KEY": "only of this test",
        "PLATES_DATA_DIR": str(tmp_path_factory.mktemp("data")),
        "DATABASE_URL": "postgresql://nobody@127.0.0.1:1/none",
    }
    done = subprocess.run([sys.executable, "-c", ASKED], cwd=Path(ROOT), env=environ, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    answers: dict[str, Any] = json.loads(done.stdout)
    return answers


def test_a_page_is_led_to_https(told: dict[str, Any]) -> None:
    assert told["page"]["status"] == 301
    assert told["page"]["headers"]["Location"] == "https://shop.example/bins/"


@pytest.mark.parametrize("name", ["call", "nowhere", "schema"])
def test_a_call_is_refused_and_says_what_became_of_the_token(told: dict[str, Any], name: str) -> None:
    answer = told[name]
    assert answer["status"] == 403 and answer["headers"]["Content-Type"] == "application/problem+json"
    assert "Location" not in answer["headers"] and answer["headers"]["Cache-Control"] == "no-store"
    body = json.loads(answer["body"])
    assert (body["status"], body["code"]) == (403, "tls_required")
    assert "has been in the clear" in body["detail"] and "sent-in-the-clear" not in answer["body"]


def test_what_comes_by_tls_and_what_asks_whether_it_lives_goes_on(told: dict[str, Any]) -> None:
    assert json.loads(told["by tls"]["body"])["code"] == "not_found"
    assert told["alive"]["status"] == 503  # there is no database
