"""Texts of one line and plain numbers: what cannot be printed, and digits of other scripts, are refused over HTTP and
on pages.
"""

from typing import Any

import pytest

from plates.catalogue.models import Kind
from plates.stock.models import HandOut, Plate
from shop.people.models import Person
from tests.api import Api
from tests.http.conftest import Bodies
from tests.pages.counter import Counter
from tests.shelves import question

pytestmark = pytest.mark.django_db
BROKEN = ["two\nlines", "two\r\nlines", "a\x1b[31mred", "a\tb", "a\x85b", "a\u2028b", "a\u2029b", "a\x7fb"]
#: Twelve in Arabic-Indic, Devanagari and fullwidth digits; Python's own ways to write numbers; a comma.
FIGURES = ["١٢", "१२.50", "\uff11\uff12", "1_2", "1e1", "0x1", "12,50", "NaN", "Infinity", ""]


@pytest.mark.parametrize("text", BROKEN)
def test_no_text_over_http_holds_a_second_line(api: Api, bodies: Bodies, ids: dict[str, str], text: str) -> None:
    for path, member, body in [
        ("specs/", "title", {**bodies["specs/"], "title": text}),
        ("kinds/", "supplier", {**bodies["kinds/"], "supplier": text}),
        ("kinds/", "scan_codes", {**bodies["kinds/"], "scan_codes": [text]}),
        ("plates/", "source", {**bodies["plates/"], "source": text}),
        ("hand-outs/", "to", {**bodies["hand-outs/"], "to": text}),
        (f"plates/{ids['lies']}/scrap/", "reason", {"reason": text}),
        ("matches/", "gauge", {**question("0.0640 in", ["0.0670 in"] * 5), "gauge": text}),
    ]:
        reply = api.post(path, body)
        assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, f"/{member}"), path
        assert "one line" in reply.body["errors"][0]["detail"]


def test_blanks_and_breaks_around_a_text_do_not_count(api: Api, bodies: Bodies) -> None:
    assert api.post("kinds/", {**bodies["kinds/"], "supplier": " Zahnrad & Söhne 齿轮\n"}).status == 201
    assert Kind.objects.get(code="NEW").supplier.name == "Zahnrad & Söhne 齿轮"


@pytest.mark.parametrize("figure", FIGURES)
def test_no_price_over_http_has_other_digits(api: Api, bodies: Bodies, figure: str) -> None:
    for path, member in [("kinds/", "unit_cost"), ("hand-outs/", "price")]:
        reply = api.post(path, {**bodies[path], member: figure})
        assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, f"/{member}")
        assert "digits 0 to 9" in reply.body["errors"][0]["detail"]


@pytest.mark.parametrize("cost", ["12.50", "12", ".5", 12.5, 12])
def test_plain_ones_are_taken(api: Api, bodies: Bodies, cost: Any) -> None:
    assert api.post("kinds/", {**bodies["kinds/"], "unit_cost": cost}).status == 201


@pytest.fixture
def counter(owner: Person, bodies: Bodies) -> Counter:
    made = Counter(owner)
    made.open("/bins/B-14/")
    return made


@pytest.mark.parametrize("text", BROKEN)
def test_nor_does_a_field_of_a_page(counter: Counter, text: str) -> None:
    assert "one line" in counter.send("/hand-out/", {"count": "1l", "to": text})
    counter.open(f"/plates/{Plate.objects.get().pk}/")
    assert "one line" in counter.send("/scrap/", {"reason": text})
    counter.open("/close-a-pack/PACK/")
    for name in ("gauge", "load", "second_person"):
        assert "one line" in counter.send("/close-a-pack/PACK/", {name: text})
        assert counter.status == 400
        counter.open("/close-a-pack/PACK/")
    assert not HandOut.objects.exists() and Plate.objects.get().state == "on_shelf"


@pytest.mark.parametrize("figure", FIGURES[:-1])
def test_nor_has_a_price_or_a_count_typed_on_a_page_other_digits(counter: Counter, figure: str) -> None:
    assert "digits 0 to 9" in counter.send("/hand-out/", {"count": "1c", "price": figure})
    assert not HandOut.objects.exists()
    counter.open("/shop/settings/")
    assert "digits 0 to 9" in counter.send("", {"hold_minutes": figure})
