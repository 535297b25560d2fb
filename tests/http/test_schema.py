"""The OpenAPI document that the service serves."""

import re
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client

from shop.urls import api as routes

CALLS = {
    "fits/": "get post", "fits/{}/": "get", "kinds/": "get post", "kinds/{}/": "get", "specs/": "get post",
    "specs/{}/": "get", "bins/": "get post", "bins/{}/": "get", "plates/": "get post", "plates/{}/": "get",
    "plates/{}/put-back/": "post", "plates/{}/rework/": "post", "plates/{}/scrap/": "post", "lots/": "get post",
    "lots/{}/": "get", "hand-outs/": "get post", "hand-outs/{}/": "get", "ledger/": "get", "ledger/{}/": "get",
    "counts/": "get post", "counts/{}/": "get", "counts/{}/read/": "post", "counts/{}/undo/": "post",
    "counts/{}/all-read/": "post", "counts/{}/book/": "post", "counts/{}/drop/": "post",
    "matches/": "get post", "matches/{}/": "get", "matches/{}/take/": "post", "matches/{}/hold/": "post",
    "matches/{}/release/": "post", "matches/{}/final/": "post", "cover/": "post", "bench-plan/": "post",
    "sizes/": "get", "buying/": "get", "orders/": "get post", "orders/{}/": "get", "orders/{}/send/": "post",
    "orders/{}/cancel/": "post", "orders/{}/receive/": "post", "claims/": "get", "claims/{}/": "get",
    "claims/{}/settle/": "post",
}  # fmt: skip

#: These read an empty object.
EMPTY = ("/release/", "/return/", "/undo/", "/all-read/", "/drop/", "/send/", "/cancel/")


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    """Served to anybody, without a database."""
    response = Client().get("/api/v1/schema/")
    assert response.status_code == 200
    served: dict[str, Any] = response.json()
    return served


def test_it_is_openapi_31(document: dict[str, Any]) -> None:
    assert re.fullmatch(r"3\.1\.\d+", document["openapi"])
    assert {"info", "paths", "components"} <= set(document)


def test_every_call_of_the_contract_is_described(document: dict[str, Any]) -> None:
    described = {
        re.sub(r"\{\w+\}", "{}", path.removeprefix("/api/v1/")): set(item) - {"parameters"}
        for path, item in document["paths"].items()
    }
    for path, methods in CALLS.items():
        assert described[path] >= set(methods.split()), path


def test_every_route_is_described(document: dict[str, Any]) -> None:
    described = {re.sub(r"\{\w+\}", "{}", path.removeprefix("/api/v1/")) for path in document["paths"]}
    served = {re.sub(r"<\w+:\w+>", "{}", str(route.pattern)) for route in routes}
    assert served - described <= {"schema/", "{}", ""}  # itself, and what catches unknown addresses


def test_every_post_reads_and_answers_something(document: dict[str, Any]) -> None:
    for path, item in document["paths"].items():
        for method, call in item.items():
            if method == "post" and not path.endswith(EMPTY):
                assert "application/json" in call["requestBody"]["content"], path
            assert any(code.startswith("2") for code in call["responses"]), (path, method)


def test_every_reference_leads_somewhere(document: dict[str, Any]) -> None:
    def references(node: Any) -> set[str]:
        if isinstance(node, dict):
            own = {node["$ref"]} if isinstance(node.get("$ref"), str) else set()
            return own.union(*map(references, node.values()))
        return set().union(*map(references, node)) if isinstance(node, list) else set()

    found = references(document)
    assert found
    for reference in found:
        node: Any = document
        for part in reference.removeprefix("#/").split("/"):
            node = node[part]


def test_a_length_is_described_as_it_is_read(document: dict[str, Any]) -> None:
    outer = document["components"]["schemas"]["FitBodyRequest"]["properties"]["outer"]
    assert re.match(outer["pattern"], "0.0771 in") and not re.match(outer["pattern"], "0.0771")


def test_drawing_it_raises_no_warning(tmp_path: Any) -> None:
    call_command("spectacular", "--validate", "--fail-on-warn", "--file", str(tmp_path / "schema.yml"))
