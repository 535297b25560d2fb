"""A small client of the API: JSON in, (status, JSON) out."""

import json
from typing import Any, NamedTuple

from django.test import Client

from shop.people.models import Person, Token


class Reply(NamedTuple):
    status: int
    body: Any

    @property
    def code(self) -> str:
        """The code of a problem."""
        code: str = self.body["code"]
        return code


class Api:
    """Calls as one person, through Django's test client."""

    def __init__(self, person: Person) -> None:
        self.person = person
        self.client = Client(raise_request_exception=False)
        self.token = Token.make(person)

    def _reply(self, response: Any) -> Reply:
        kind = response.headers.get("Content-Type", "")
        if response.status_code >= 400:
            assert kind == "application/problem+json", (response.status_code, kind, response.content[:300])
        return Reply(response.status_code, json.loads(response.content))

    def get(self, path: str, **query: str) -> Reply:
        return self._reply(self.client.get(f"/api/v1/{path}", query, HTTP_AUTHORIZATION=f"Token {self.token}"))

    def post(self, path: str, body: Any, key: str | None = None) -> Reply:
        return self.raw(path, json.dumps(body), key)

    def raw(
        self, path: str, text: str | bytes, key: str | None = None, content_type: str = "application/json"
    ) -> Reply:
        headers = {"HTTP_AUTHORIZATION": f"Token {self.token}"}
        if key is not None:
            headers["HTTP_IDEMPOTENCY_KEY"] = key
        return self._reply(self.client.post(f"/api/v1/{path}", text, content_type=content_type, **headers))
