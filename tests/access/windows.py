"""A browser window whose answers can be compared: what differs in each answer by itself is put out of it."""

import hashlib
import re
from difflib import unified_diff
from typing import Any, NamedTuple
from urllib.parse import quote, quote_plus

from django.core import signing
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from plates.tables.pages import SALT
from shop.people.models import Person
from shop.rows import uuid7
from tests.access.furnished import Names

_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_TOKEN = re.compile(r'"(csrfmiddlewaretoken|checked)" value="[^"]*"|"X-CSRFToken": "[^"]*"')


class Answer(NamedTuple):
    """``to``: where it leads."""

    status: int
    to: str
    text: str

    def told(self, theirs: Names, asked: str = "") -> list[str]:
        """What of the other shop it tells beside what was asked for: a code, an id, its word. Short numbers are
        everybody's.
        """
        text = f"{self.to} {self.text}"
        if asked:
            text = text.replace(theirs[asked], "")
        return [name for name, said in theirs.items() if not said.isdigit() and len(said) > 9 and said in text]

    def differs(self, other: "Answer") -> str:
        """In which lines, and in what else; blank where it is the same."""
        mine, others = ([str(one.status), one.to, *one.text.splitlines()] for one in (self, other))
        return "\n".join(line for line in unified_diff(mine, others, n=0, lineterm="") if line[:2] not in ("--", "@@"))

    def as_of(self, name: str) -> "Answer":
        """To be compared with the answer to another name: with what was asked for, and all that is new in each answer,
        put out of it.
        """
        return Answer(self.status, _plain(self.to, name), _plain(self.text, name))


def _plain(text: str, name: str) -> str:
    asked = re.compile(rf"(?<![0-9A-Za-z]){re.escape(name)}(?![0-9A-Za-z])")
    spoken = asked.sub("ASKED", text.replace(quote_plus(name), name).replace(quote(name), name))
    return _UUID.sub("ID", _TOKEN.sub("TOKEN", spoken))


class Window:
    """Signed in as one person."""

    def __init__(self, person: Person) -> None:
        self.person, self.client = person, Client(raise_request_exception=False)
        self.client.force_login(person)

    def get(self, address: str) -> Answer:
        return self._answer(self.client.get(address))

    def send(self, path: str, fields: dict[str, Any]) -> Answer:
        """The form with a fresh key; a ``file`` is sent as one, and to be written as one that was checked."""
        form = {"key": str(uuid7()), **fields}
        if "file" in form:
            content = form["file"].encode()
            said = [str(self.person.pk), path.strip("/").split("/")[-1], hashlib.sha256(content).hexdigest()]
            form |= {"file": SimpleUploadedFile("rows.csv", content), "checked": signing.dumps(said, salt=SALT)}
        return self._answer(self.client.post(path, form))

    def _answer(self, response: Any) -> Answer:
        content = b"".join(response) if response.streaming else response.content
        return Answer(response.status_code, response.headers.get("Location", ""), content.decode(errors="replace"))
