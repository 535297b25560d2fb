"""Of another shop nobody learns, uses or moves anything on a page: every address, every name in every form."""

import re
from collections.abc import Iterable, Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, resolve

from shop.urls import urlpatterns
from tests.access.api_calls import ROLES
from tests.access.conftest import Two, contents, filled, named_in, undone
from tests.access.furnished import Names
from tests.access.page_calls import BEFORE_A_SHOP, LISTS, NAMED, OPENED, OWN, OWNERS, SENT
from tests.access.windows import Answer, Window

pytestmark = pytest.mark.django_db


def pages_served() -> set[str]:
    return {str(route.pattern) for route in urlpatterns if isinstance(route, URLPattern)}


def example_of(route: str) -> str:
    """An address that leads to this route."""
    some = {"int": "1", "uuid": "0" * 8 + "-0000-7000-8000-" + "0" * 12, "str": "x"}
    return "/" + re.sub(r"<(\w+):\w+>", lambda found: some[found[1]], route)


def routes_of(templates: Iterable[str], names: Names) -> set[str]:
    return {resolve(filled(template, names).split("?")[0]).route for template in templates}


def test_every_page_is_asked_here(two: Two) -> None:
    """Whoever adds a page adds its addresses to ``page_calls``: what opens it, and what may be sent to it."""
    client = Client(raise_request_exception=False)
    client.force_login(two.owner)
    opens, takes = set(), set()
    for route in pages_served() - set(BEFORE_A_SHOP):
        with undone():
            opens |= {route} if client.get(example_of(route)).status_code != 405 else set()
            takes |= {route} if client.post(example_of(route)).status_code != 405 else set()
    assert opens == routes_of(OPENED, two.mine)
    assert takes - OWN == routes_of((call.path for call in SENT), two.mine)


def swapped(template: object, two: Two) -> Iterator[tuple[str, Names, str, Names]]:
    """My names with one of theirs among them, in turn; and with one that is nobody's in its place. A reading names
    nothing.
    """
    for name in sorted(named_in(template) - {"gone_reading"}):
        theirs = two.theirs[name]
        nobodys = theirs[:-1] + ("0" if theirs[-1] != "0" else "1")
        yield name, {**two.mine, name: theirs}, nobodys, {**two.mine, name: nobodys}


def test_what_is_opened_is_of_the_own_shop(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    wrong: list[Any] = []
    tried = 0
    for role in ROLES:
        window = Window(two.of_role(role))
        for template in OPENED:
            tried += 1
            if told := window.get(filled(template, two.mine)).told(two.theirs):
                wrong.append((role, template, told))
            for name, names, nobodys, nobodys_names in swapped(template, two):
                answer = window.get(filled(template, names))
                nobody = window.get(filled(template, nobodys_names))
                tried += 1
                other = answer.as_of(two.theirs[name]).differs(nobody.as_of(nobodys))
                told = answer.told(two.theirs, name)
                if other or told:
                    wrong.append((role, template, name, told, other))
    with capsys.disabled():
        print(
            f"\n{tried} pages opened by {len(ROLES)} roles: {len(LISTS)} lists, {len(NAMED) + len(OWNERS)} of one thing"
        )
    assert wrong == [], "\n".join(map(str, wrong))


def test_a_form_that_names_another_shops_thing_names_nothing(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    """Each name of each form in turn, as each role that may send it."""
    wrong: list[Any] = []
    tried = 0
    for role in ROLES:
        window = Window(two.of_role(role))

        def sent(call: Any, names: Names, window: Window = window) -> tuple[Answer, bool]:
            before = contents()
            with undone():
                answer = window.send(filled(call.path, names), filled(call.fields, names))
                return answer, contents() != before

        for call in SENT:
            if role not in call.may:
                continue
            for name, names, nobodys, nobodys_names in swapped((call.path, call.fields), two):
                answer, changed = sent(call, names)
                nobody, _ = sent(call, nobodys_names)
                tried += 1
                other = answer.as_of(two.theirs[name]).differs(nobody.as_of(nobodys))
                moved, told = changed and name not in call.free, answer.told(two.theirs, name)
                if other or moved or told:
                    wrong.append((role, filled(call.path, names), name, moved, told, other))
    with capsys.disabled():
        print(f"\n{tried} forms of {len(SENT)}, each name of another shop's as each role that may")
    assert wrong == [], "\n".join(map(str, wrong))
