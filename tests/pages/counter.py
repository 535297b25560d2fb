"""A person at the counter, by Django's test client: forms are read off the page and sent back as a browser would."""

import re
from collections.abc import Mapping
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urlencode

from django.test import Client

from shop.people.models import Person


class Forms(HTMLParser):
    """The forms of a page: method, address, and what their fields hold."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.forms: list[dict[str, Any]] = []
        self.select: str | None = None
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said: dict[str, str] = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.forms.append({"method": said.get("method", "get"), "action": said.get("action", ""), "fields": {}})
        if not self.forms:
            return
        fields: dict[str, list[str]] = self.forms[-1]["fields"]
        if tag == "input" and "name" in said:
            if said.get("type") in ("checkbox", "radio") and "checked" not in said:
                return
            blank = "on" if said.get("type") == "checkbox" else ""
            fields.setdefault(said["name"], []).append(said.get("value", blank))
        elif tag == "select":
            self.select = said["name"]
            fields[self.select] = []
        elif tag == "option" and self.select and (not fields[self.select] or "selected" in said):
            fields[self.select] = [said.get("value", "")]

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self.select = None


def words(html: str) -> str:
    """What a person reads: text without tags, one blank between words."""
    text = re.sub(r"<[^>]*>", "", re.sub(r"(?s)<(script|title|desc)\b.*?</\1>", "", html))
    return re.sub(r"\s+", " ", text).replace("&#x27;", "'").replace("&quot;", '"').replace("&amp;", "&")


class Counter:
    """One browser window."""

    def __init__(self, person: Person | None = None) -> None:
        self.client = Client()
        self.html, self.path, self.status = "", "/", 0
        if person:
            self.client.force_login(person)

    def _arrive(self, response: Any, path: str) -> str:
        self.status = response.status_code
        self.html = response.content.decode()
        chain = getattr(response, "redirect_chain", [])
        self.path = chain[-1][0] if chain else path
        return self.text

    @property
    def text(self) -> str:
        return words(self.html)

    def open(self, path: str, **query: str) -> str:
        return self._arrive(self.client.get(path, query, follow=True), path)

    def echo(self, name: str, typed: str) -> str:
        """What the field of this page says to what is typed into it, before it counts."""
        field = re.search(rf'name="{name}"[^>]*?hx-get="([^"]+)"', self.html)
        assert field, f"no field {name!r} echoes on {self.path}"
        said = self.client.get(f"{field[1]}{'&' if '?' in field[1] else '?'}{urlencode({name: typed})}")
        return words(said.content.decode())

    def form(self, action: str = "", nth: int = 0) -> dict[str, Any]:
        """The nth form whose address ends in ``action``."""
        found = [one for one in Forms(self.html).forms if one["action"].endswith(action)]
        assert len(found) > nth, f"no form {action!r} on {self.path}: {self.text[:400]}"
        return found[nth]

    def send(self, action: str = "", typed: Mapping[str, Any] | None = None, nth: int = 0) -> str:
        """Fill in a form of this page and send it, with ``None`` for a field that is to be left out."""
        form = self.form(action, nth)
        return self.post(form["action"] or self.path, {**form["fields"], **(typed or {})})

    def post(self, path: str, fields: Mapping[str, Any]) -> str:
        data = {name: value for name, value in fields.items() if value is not None and name != "csrfmiddlewaretoken"}
        return self._arrive(self.client.post(path, data, follow=True), path)
