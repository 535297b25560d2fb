"""Every form and address of the pages with hostile text in it: never a fault, and no markup is given back as such.

Bounded and seeded for every day; longer by hand: ``HOSTILE_TEXTS=30 pytest tests/access/test_page_hostile.py``.
"""

import os
import random
import re
from collections import defaultdict
from typing import Any, NamedTuple
from urllib.parse import quote, urlencode, urlsplit

import pytest
from django.db import transaction
from django.test import Client
from django.urls import Resolver404, resolve

from tests.access.conftest import Two, filled, undone
from tests.access.furnished import Names
from tests.access.page_calls import OPENED, OWN, SENT
from tests.pages.counter import Forms

pytestmark = pytest.mark.django_db
#: So many texts go into each field by itself, and four times as many into all fields of a form.
EXAMPLES = int(os.environ.get("HOSTILE_TEXTS", "1"))

MARKUP = [
    "<script>hostile()</script>", '"><img src=x onerror=hostile()>', "'><svg onload=hostile()>", '" onfocus="hostile()',
    "</textarea><b class=hostile>", "--></title><i class=hostile>",
]  # fmt: skip
TEXTS = [
    *MARKUP, "=1+1", "@SUM(A1)", "+cmd|' /C x'!A0", "a\0b", "\u202e0.077\u2066 in\u200f", "\ud800", "\udcff",
    "x" * 200_000, "9" * 5_000, "9" * 19, "2147483648", "1e999", "-0", "-1", "nan", "Infinity", "١٢", "½", "²",
    "0000-00-00", "99999-12-31", "2026-02-30", "0001-01-01", "00000000-0000-0000-0000-000000000000", "{{7*7}}%s%n",
    "../../x", "a\r\nSet-Cookie: hostile=1", "\t\n", "999999999999 in", "0.0000000000001 in", "1/0", "0", "1.5.5 mm",
]  # fmt: skip
#: What once met a fault, and is sent every day.
FOUND = [
    ("/close-a-pack/{spec}/", {"slot1-go": "9" * 5_000}),
    ("/add/spec/", {}),
    ("/matches/{taken_number}/pull-check/", {"reading": "0.0774 in", "plate": "{plate}"}),
]
#: What a server takes as one address.
LONGEST = 3_000
_MARKED = re.compile("|".join(re.escape(text) for text in MARKUP))


@pytest.fixture(autouse=True)
def wrong_passwords_without_end(settings: Any) -> None:
    """Else the first hostile ones shut the owner out of every form that asks for one."""
    settings.AXES_ENABLED = False


class Form(NamedTuple):
    method: str
    path: str
    fields: dict[str, Any]


class Fields(Forms):
    """Beside what a browser would send of a form, every name in it: boxes not ticked, long texts, buttons."""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        super().handle_starttag(tag, attrs)
        name = dict(attrs).get("name")
        if self.forms and name and tag in ("input", "select", "textarea", "button"):
            self.forms[-1]["fields"].setdefault(name, [""])


class Hostile:
    """Sends and keeps count; what went wrong stands in ``wrong``, one for each place and kind."""

    def __init__(self, two: Two) -> None:
        self.client, self.sent, self.wrong = Client(raise_request_exception=False), 0, defaultdict[str, str](str)
        self.client.force_login(two.owner)
        self.draw = random.Random(20261127)

    def some(self, most: int = EXAMPLES) -> list[str]:
        return self.draw.sample(TEXTS, min(most, len(TEXTS)))

    def get(self, address: str) -> Any:
        return self._looked("GET", address, self.client.get(address))

    def send(self, form: Form) -> Any:
        # As a browser does it, but for the halves of characters, which it would not send.
        body = urlencode(form.fields, doseq=True, errors="surrogatepass")
        if form.method == "get":
            return self.get(f"{form.path.split('?')[0]}?{body[:LONGEST]}")
        kind = "application/x-www-form-urlencoded"
        return self._looked(f"POST {body[-300:]}", form.path, self.client.post(form.path, body, content_type=kind))

    def _looked(self, how: str, address: str, response: Any) -> Any:
        self.sent += 1
        text = b"".join(response) if response.streaming else response.content
        said = text.decode(errors="replace")
        if response.status_code >= 500:
            fault = response.exc_info[1] if response.exc_info else ""
            self.wrong[f"{_route(address)} {type(fault).__name__}"] = f"{how[:600]} {address[:200]} {fault!r}"[:1200]
        if "html" in response.headers.get("Content-Type", "") and (found := _MARKED.search(said)):
            self.wrong[f"{_route(address)} {found[0]}"] = f"{how[:600]} {said[max(0, found.start() - 100) :][:300]}"
        if "hostile" in response.cookies:
            self.wrong[f"{_route(address)} cookie"] = how[:600]
        return response


def _route(address: str) -> str:
    try:
        return resolve(urlsplit(address).path).route
    except Resolver404:
        return address[:80]


def forms_found(hostile: Hostile, names: Names) -> list[Form]:
    """The forms of all pages, each once for its address and the names of its fields."""
    found = {}
    for template in OPENED:
        response = hostile.client.get(filled(template, names), follow=True)
        if response.streaming or "html" not in response.headers["Content-Type"]:
            continue
        here = response.request["PATH_INFO"]
        for form in Fields(response.content.decode()).forms:
            action = form["action"] or here
            if _route(action) in ("sign-out/", "change-person/") or form["method"] == "dialog":
                continue
            fields = {name: said for name, said in form["fields"].items() if name != "csrfmiddlewaretoken"}
            found.setdefault((form["method"], _route(action), *sorted(fields)), Form(form["method"], action, fields))
    return list(found.values())


def with_text(form: Form, text: str, *names: str) -> Form:
    return form._replace(fields=form.fields | dict.fromkeys(names, text))


def good_forms(found: list[Form], names: Names) -> list[tuple[Form, list[str]]]:
    """The good ones of ``page_calls``, and what may be typed in each: on its page, too; of fields that differ in their
    numbers alone one.
    """
    known = defaultdict(set)
    for form in found:
        known[_route(form.path)] |= set(form.fields)
    good = []
    for at, call in enumerate(SENT):
        if "file" not in call.fields:
            form = Form("post", filled(call.path, names), {"key": f"hostile-{at}", **filled(call.fields, names)})
            alike = {re.sub("[0-9]+", "0", name): name for name in {*form.fields, *known[_route(form.path)]}}
            good.append((form, sorted(alike.values())))
    return good


def test_no_form_meets_a_fault(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    hostile = Hostile(two)
    found = forms_found(hostile, two.mine)
    assert {_route(form.path) for form in found} >= OWN
    good = good_forms(found, two.mine)
    for form in found:
        typed = [name for name in form.fields if name != "key"]
        for text in hostile.some(4 * EXAMPLES):
            with undone():
                hostile.send(with_text(form, text, *typed))
    for form, typed in good:
        for name in typed:
            for text in hostile.some():
                with undone():
                    hostile.send(with_text(form, text, name))
    for path, said in FOUND:
        with undone():
            hostile.send(Form("post", filled(path, two.mine), filled(said, two.mine)))
    fields = sum(len(typed) for _, typed in good)
    with capsys.disabled():
        print(f"\n{hostile.sent} forms sent: {len(found)} of the pages whole, {fields} fields by themselves")
    assert not hostile.wrong, "\n".join(f"{name}\n  {said}" for name, said in hostile.wrong.items())


def test_no_address_meets_a_fault(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    """In the place of each name, of each thing asked for, and of things that nobody asks for."""
    hostile = Hostile(two)
    for template in OPENED:
        path, _, query = template.partition("?")
        asked = dict(part.partition("=")[::2] for part in query.split("&") if part)
        tried = [(name, text) for name in [*asked, "page", "next"] for text in hostile.some()]
        for name, text in tried:
            said = urlencode({**filled(asked, two.mine), name: text[:LONGEST]}, errors="surrogatepass")
            hostile.get(f"{filled(path, two.mine)}?{said}")
        for name in re.findall(r"{\w+}", path):
            for text in hostile.some():
                there = quote(text[:LONGEST].replace("/", ""), safe="", errors="surrogatepass")
                hostile.get(filled(path.replace(name, there, 1), two.mine))
    with capsys.disabled():
        print(f"\n{hostile.sent} addresses opened")
    assert not hostile.wrong, "\n".join(f"{name}\n  {said}" for name, said in hostile.wrong.items())


def test_markup_that_was_kept_is_shown_as_text(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    """What a form takes stays, and then all pages are opened."""
    hostile, kept = Hostile(two), set()
    for at, (form, typed) in enumerate(good_forms(forms_found(hostile, two.mine), two.mine)):
        for name in typed:
            key = re.sub("[^a-z0-9]", "-", f"kept-{at}-{name}".lower())[:100]
            with transaction.atomic():
                response = hostile.send(with_text(with_text(form, key, "key"), MARKUP[at % len(MARKUP)], name))
            if response.status_code in (302, 303):
                kept.add((form.path, name))
                hostile.get(response.headers["Location"])
    for template in OPENED:
        hostile.get(filled(template, two.mine))
    with capsys.disabled():
        print(f"\n{len(kept)} fields that take markup, {len(OPENED)} pages opened afterwards")
    assert len(kept) > 20
    assert not hostile.wrong, "\n".join(f"{name}\n  {said}" for name, said in hostile.wrong.items())
