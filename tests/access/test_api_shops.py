"""Of another shop nobody learns, uses or moves anything over HTTP: every address, every name in every body."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import pytest
from django.urls import resolve

from shop.urls import api as routes
from tests.access.api_calls import FILTERS, LISTS, POSTS, READS, ROLES
from tests.access.conftest import Two, filled, named_in, rows, undone
from tests.access.furnished import Names
from tests.api import Api, Reply

pytestmark = pytest.mark.django_db
#: Not of a shop: the document, and what catches unknown addresses.
NOBODYS = {"schema/", "<path:rest>", ""}
READ_TEMPLATES = [*LISTS, *(f"{path}{{{name}}}/" for path, name in LISTS.items()), *READS]


def route_of(path: str) -> str:
    return resolve(f"/api/v1/{path.split('?')[0]}").route.removeprefix("api/v1/")


def told(reply: Reply, theirs: Names) -> list[str]:
    """What of the other shop an answer tells: a code, an id, its word. Short numbers are everybody's."""
    text = str(reply.body)
    return [name for name, said in theirs.items() if not said.isdigit() and len(said) > 9 and said in text]


def test_every_endpoint_is_asked_here() -> None:
    """Whoever adds an endpoint adds its calls to ``api_calls``."""
    served = {str(route.pattern) for route in routes}
    example = "x"
    asked = {route_of(filled(path, dict.fromkeys(named_in(path), example))) for path in READ_TEMPLATES}
    asked |= {route_of(filled(call.path, dict.fromkeys(named_in(call.path), example))) for call in POSTS}
    assert served - asked == NOBODYS
    posted = {route_of(filled(call.path, dict.fromkeys(named_in(call.path), example))) for call in POSTS}
    may_post = {
        str(route.pattern) for route in routes
        if (view := getattr(route.callback, "cls", None)) and hasattr(view, "post")
        and "post" in view.http_method_names
    }  # fmt: skip
    assert may_post == posted


@pytest.mark.parametrize("role", ROLES)
def test_what_is_read_is_of_the_own_shop(two: Two, role: str, capsys: pytest.CaptureFixture[str]) -> None:
    api = Api(two.of_role(role))

    def get(address: str) -> Reply:
        path, _, query = address.partition("?")
        return api.get(path, **dict(part.split("=", 1) for part in query.split("&") if part))

    tried = 0
    for path in LISTS:
        listed = api.get(path)
        assert listed.status == 200 and listed.body["count"] > 0, path
        assert told(listed, two.theirs) == [], path
        tried += 1
    for template in [*(f"{path}{{{name}}}/" for path, name in LISTS.items()), *READS, *FILTERS]:
        own = get(filled(template, two.mine))
        assert own.status == 200, (template, own)
        assert told(own, two.theirs) == [], template
        tried += 1
        for name, names in swapped(template, two):
            reply = get(filled(template, names))
            # a filter by what is not there finds nothing
            nothing = reply.status == 200 and template in FILTERS and reply.body.get("count") == 0
            assert nothing or reply.status in (400, 404), (template, reply)
            assert reply == unknown(get, [template], name, two), template
            tried += 1
    with capsys.disabled():
        print(f"\n{tried} reads as {role}: {len(LISTS)} lists, as many details, {len(READS) + len(FILTERS)} more")


def swapped(template: object, two: Two, free: Iterable[str] = ()) -> list[tuple[str, Names]]:
    """My names with one of theirs among them, and which: each that the template names, in turn."""
    return [(name, {**two.mine, name: two.theirs[name]}) for name in sorted(named_in(template) - set(free))]


def unknown(ask: Callable[..., Reply], template: Sequence[Any], name: str, two: Two) -> Reply:
    """The answer where the name is nobody's at all, with that name in it changed to the one asked for."""
    nobodys = two.theirs[name][:-1] + ("0" if two.theirs[name][-1] != "0" else "1")
    reply = ask(*filled(template, {**two.mine, name: nobodys}))
    return Reply(reply.status, filled_back(reply.body, nobodys, two.theirs[name]))


def filled_back(body: object, nobodys: str, theirs: str) -> object:
    if isinstance(body, str):
        return body.replace(nobodys, theirs)
    if isinstance(body, dict):
        return {name: filled_back(part, nobodys, theirs) for name, part in body.items()}
    return [filled_back(part, nobodys, theirs) for part in body] if isinstance(body, list) else body


def test_a_body_that_names_another_shops_thing_names_nothing(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    """Each name of each call in turn; the control is the same call with nothing but my own."""
    wrong: list[Any] = []
    tried = 0
    for path, body, may, free in POSTS:
        for role in sorted(may):
            api = Api(two.of_role(role))
            with undone():
                own = api.post(filled(path, two.mine), filled(body, two.mine))
                if own.status not in (200, 201) or told(own, two.theirs):
                    wrong.append((role, path, "the control", own))
            before = rows()
            for name, names in swapped((path, body), two, free):
                reply = api.post(filled(path, names), filled(body, names))
                tried += 1
                same = reply == unknown(api.post, (path, body), name, two)
                if reply.status not in (400, 404, 422) or not same or rows() != before:
                    wrong.append((role, filled((path, body), names), reply))
    with capsys.disabled():
        print(f"\n{tried} acts of {len(POSTS)} calls, each name of another shop's as each role that may")
    assert wrong == [], "\n".join(map(str, wrong))


def test_a_text_of_ones_own_may_be_one_of_theirs(two: Two) -> None:
    """A fresh code, a job, a supplier: made for my shop, and nothing of theirs is told or touched."""
    for path, body, _, free in POSTS:
        for name in free & named_in(body):
            names = {**two.mine, name: two.theirs[name]}
            with undone():
                reply = Api(two.owner).post(filled(path, names), filled(body, names))
                assert reply.status in (200, 201), (path, reply)
                learnt = {what for what in told(reply, two.theirs) if not what.endswith("_job")} - free
                assert not learnt, path
