"""The API under requests made from its own OpenAPI document: never a fault, and every answer as the document says.

Bounded and seeded for every day; longer by hand: ``FUZZ_EXAMPLES=300 pytest tests/access/test_fuzz.py``.
"""

import os
import re
from typing import Any

import pytest
import requests
import schemathesis
from django.test import Client
from hypothesis import HealthCheck, Phase, given, seed, settings
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.core.transport import Response
from schemathesis.specs.openapi.checks import response_schema_conformance

from tests.access.api_calls import LISTS, POSTS
from tests.access.conftest import Two, undone
from tests.access.furnished import Names
from tests.api import Api

pytestmark = [pytest.mark.django_db, pytest.mark.processes]
EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "3"))
#: A refusal is a problem of RFC 9457 with a code, whatever the document names of it.
PROBLEM = "application/problem+json"


def there(path: str, names: Names) -> dict[str, str]:
    """What the address would name in a shop in which there is one of everything."""
    below = path.removeprefix("/api/v1/")
    act = next((call.path for call in POSTS if re.fullmatch(re.sub(r"\{\w+\}", r"{\\w+}", call.path), below)), "")
    name = re.search(r"\{(\w+)\}", act)
    found = name[1] if name else LISTS.get(below.split("/")[0] + "/", "")
    return dict.fromkeys(re.findall(r"\{(\w+)\}", path), names[found]) if found else {}


def answered(case: Any, token: str) -> Response:
    """The request sent through Django's test client, which keeps to the connection of the test."""
    asked = requests.Request(**case.as_transport_kwargs("http://testserver")).prepare()
    headers = {**asked.headers, "Authorization": f"Token {token}"}
    kind = headers.pop("Content-Type", "application/json")
    body = asked.body.encode() if isinstance(asked.body, str) else asked.body or b""
    client = Client(raise_request_exception=False)
    with undone():
        said = client.generic(case.method, asked.path_url, body, content_type=kind, headers=headers)
    told = {name.lower(): [text] for name, text in said.headers.items()}
    return Response(said.status_code, told, said.content, asked, elapsed=0, verify=False)


def wrong_with(case: Any, token: str) -> str:
    """What is wrong with the answer to this request, or nothing."""
    response = answered(case, token)
    if response.status_code >= 500:
        return f"{response.status_code} {response.content[:300]!r}"
    if response.status_code >= 400:
        told = response.json() if PROBLEM in response.headers["content-type"][0] else {}
        return "" if told.get("status") == response.status_code and told.get("code") else f"no problem: {told}"
    try:
        case.validate_response(response, checks=[not_a_server_error, response_schema_conformance])
    except FailureGroup as failures:
        return " ".join(str(one) for one in failures.exceptions)[:900]
    return ""


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
def test_no_request_meets_a_fault(two: Two, mode: GenerationMode, capsys: pytest.CaptureFixture[str]) -> None:
    schema = schemathesis.openapi.from_dict(Client().get("/api/v1/schema/").json())
    token = Api(two.owner).token
    wrong: dict[str, str] = {}
    sent = 0

    for found in schema.get_all_operations():
        operation = found.ok()
        addresses = [{}, there(operation.path, two.mine)]
        for given_path in [one for at, one in enumerate(addresses) if one or not at]:

            @seed(20261127)
            @settings(
                max_examples=EXAMPLES, deadline=None, database=None, derandomize=False, phases=[Phase.generate],
                suppress_health_check=list(HealthCheck),
            )  # fmt: skip
            @given(case=operation.as_strategy(mode, path_parameters=given_path or None))
            def sent_once(case: Any) -> None:
                nonlocal sent
                sent += 1
                if said := wrong_with(case, token):
                    call = f"{case.method} {case.operation.path}"
                    wrong.setdefault(call, f"{case.as_curl_command()[:600]}\n  {said}")

            sent_once()
    with capsys.disabled():
        print(f"\n{sent} requests, {mode.value}")
    assert wrong == {}, "\n".join(f"{name}\n  {said}" for name, said in wrong.items())
