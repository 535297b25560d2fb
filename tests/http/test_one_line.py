"""Texts of one line and plain numbers: what cannot be printed, what turns the line, and digits of other scripts, are
refused over HTTP and on pages.
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
#: The marks and overrides of Unicode's bidirectional algorithm (UAX #9), by their numbers.
TURNS = [chr(one) for one in (0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A))]
BROKEN += [f"S-0{turn}77" for turn in TURNS]
#: Twelve in Arabic-Indic, Devanagari and fullwidth digits; Python's own ways to write numbers; a comma.
FIGURES = ["١٢", "१२.50", "\uff11\uff12", "1_2", "1e1", "0x1", "12,50", "NaN", "Infinity", ""]


def told(text: str) -> str:
    """Of what is refused about such a text, a part."""
    return next((f"writing direction that nobody sees, U+{ord(one):04X}" for one in text if one in TURNS), "one line")


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
        assert told(text) in reply.body["errors"][0]["detail"]


def test_blanks_and_breaks_around_a_text_do_not_count(api: Api, bodies: Bodies) -> None:
    assert api.post("kinds/", {**bodies["kinds/"], "supplier": " Zahnrad & Söhne 齿轮\n"}).status == 201
    assert Kind.objects.get(code="NEW").supplier.name == "Zahnrad & Söhne 齿轮"


def test_a_text_that_runs_from_right_to_left_by_its_own_letters_is_taken(api: Api, bodies: Bodies) -> None:
    for code, name in (("A", "מפעל 77"), ("B", "مصنع 77"), ("C", "می\u200cخواهم")):
        kind = {**bodies["kinds/"], "code": code, "supplier": name, "scan_codes": []}
        assert api.post("kinds/", kind).status == 201
        assert Kind.objects.get(code=code).supplier.name == name


def test_a_mark_at_either_end_counts(api: Api, bodies: Bodies) -> None:
    for text in ("\u202eNorth", "North\u200f", " \u2066North \n"):
        assert api.post("kinds/", {**bodies["kinds/"], "supplier": text}).status == 400, text


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
    assert told(text) in counter.send("/hand-out/", {"count": "1l", "to": text})
    counter.open(f"/plates/{Plate.objects.get().pk}/")
    assert told(text) in counter.send("/scrap/", {"reason": text})
    counter.open("/close-a-pack/PACK/")
    for name in ("gauge", "load", "second_person"):
        assert told(text) in counter.send("/close-a-pack/PACK/", {name: text})
        assert counter.status == 400
        counter.open("/close-a-pack/PACK/")
    assert not HandOut.objects.exists() and Plate.objects.get().state == "on_shelf"


@pytest.mark.parametrize("figure", FIGURES[:-1])
def test_nor_has_a_price_or_a_count_typed_on_a_page_other_digits(counter: Counter, figure: str) -> None:
    assert "digits 0 to 9" in counter.send("/hand-out/", {"count": "1c", "price": figure})
    assert not HandOut.objects.exists()
    counter.open("/shop/settings/")
    assert "digits 0 to 9" in counter.send("", {"hold_minutes": figure})
