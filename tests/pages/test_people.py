"""Who is at the counter, and what they may do there."""

import re

import pytest
from django.test import Client

from tests.factories import PersonFactory
from tests.pages.conftest import Bench
from tests.pages.counter import Counter, Forms

pytestmark = pytest.mark.django_db
PASSWORD = "a drawer of feeler blades"


def test_whoever_is_not_signed_in_comes_back_to_the_page_they_wanted(bench: Bench) -> None:
    bench.owner.set_password(PASSWORD)
    bench.owner.save()
    counter = Counter()
    counter.open("/bins/")
    assert counter.path.startswith("/sign-in/?next=")
    assert "do not go together" in counter.send("", {"username": bench.owner.username, "password": "wrong"})
    counter.path = "/sign-in/"
    counter.send("", {"username": bench.owner.username, "password": PASSWORD})
    assert counter.path == "/bins/"
    assert "B-14" in counter.text


def test_signing_out_and_changing_the_person_are_posts(bench: Bench, counter: Counter) -> None:
    for path in ("/sign-out/", "/change-person/"):
        assert counter.client.get(path).status_code == 405
    counter.open("/kinds/")
    counter.send("/change-person/")
    assert counter.path == "/sign-in/?next=%2Fkinds%2F"
    assert counter.client.get("/").status_code == 302


def test_signing_out_tells_the_browser_to_clear_its_cache_and_only_that(counter: Counter) -> None:
    """Its storage holds the scans that wait for the line; who changes the person goes on with the page."""
    assert counter.client.post("/change-person/").headers.get("Clear-Site-Data") is None
    assert counter.client.post("/sign-out/").headers["Clear-Site-Data"] == '"cache"'


def test_changing_the_person_never_leads_to_a_foreign_address(counter: Counter) -> None:
    counter.post("/change-person/", {"next": "https://elsewhere.example/x"})
    assert counter.path == "/sign-in/?next=%2F"


@pytest.mark.parametrize(
    ("role", "path", "why"),
    [
        ("buyer", "/scan-in/kind/STEEL-77/", "stock is for bench or counter or owner"),
        ("buyer", "/close-a-pack/PACK/", "matches is for bench or counter or owner"),
        ("buyer", "/add/bin/", "stock is for bench or counter or owner"),
        ("bench", "/add/spec/", "catalogue is for buyer or owner"),
        ("counter", "/add/fit/", "catalogue is for buyer or owner"),
    ],
)
def test_whoever_lacks_the_right_reads_why_and_finds_no_form(bench: Bench, role: str, path: str, why: str) -> None:
    counter = Counter(PersonFactory.create(shop=bench.owner.shop, role=role))
    assert why in counter.open(path)
    assert counter.status == 200
    assert {form["action"] for form in Forms(counter.html).forms} == {"/change-person/", "/sign-out/"}


def test_a_post_without_the_right_is_refused_and_changes_nothing(bench: Bench) -> None:
    buyer = Counter(PersonFactory.create(shop=bench.owner.shop, role="buyer"))
    fields = {"key": "0123456789", "code": "B-99", "fit": "DRUM", "role": "steel", "from_": ".08", "to": ".081"}
    assert "stock is for bench or counter or owner" in buyer.post("/add/bin/", fields)
    assert "B-99" not in buyer.open("/bins/")


def test_another_shop_sees_nothing_of_this_one(bench: Bench) -> None:
    stranger = Counter(PersonFactory.create())
    for path in ("/bins/B-14/", "/specs/PACK/", "/scan-in/kind/STEEL-77/", "/close-a-pack/PACK/"):
        stranger.open(path)
        assert stranger.status == 404, path
    assert "STEEL-77" not in stranger.open("/kinds/")


def test_plain_links_reach_every_page_and_nothing_is_inline(counter: Counter) -> None:
    """From the first page on, by links alone; each answers 200, holds the policy and carries no script or style."""
    seen: set[str] = set()
    rest = ["/"]
    while rest:
        path = rest.pop()
        if path in seen:
            continue
        seen.add(path)
        response = counter.client.get(path, follow=True)
        assert response.status_code == 200, path
        if not response.headers["Content-Type"].startswith("text/html"):  # a table or a sheet of labels to keep
            continue
        html = response.content.decode()
        assert "default-src 'self'" in response.headers["Content-Security-Policy"]
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|<script(?![^>]*\bsrc=)|javascript:", html), path
        assert not re.search(r"(?:src|href)=\"(?:https?:)?//", html), path
        links = re.findall(r'<a [^>]*href="([^"#?]+)', html)
        rest += [link for link in links if link.startswith("/")]
    wanted = {"/scan-in/", "/close-a-pack/", "/matches/", "/bins/", "/bins/B-14/", "/kinds/", "/fits/", "/specs/"}
    wanted |= {"/specs/PACK/", "/close-a-pack/PACK/", "/scan-in/kind/STEEL-77/"}
    assert wanted | {"/add/fit/", "/add/kind/", "/add/spec/", "/add/bin/"} <= seen
    assert any(path.startswith("/plates/") for path in seen)


def test_an_unknown_page_says_so_in_the_look_of_the_house() -> None:
    response = Client().get("/nowhere/")
    assert response.status_code == 404
    assert b"There is no such page" in response.content
