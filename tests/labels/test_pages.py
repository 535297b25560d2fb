"""The page of labels: what is listed, what is shown, what is printed; nobody sees another shop's."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.lengths import length_parse
from plates.scan_codes import scan_format
from shop.people.models import Person, Role
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory, pack
from tests.labels.reading import pdf_pages, svg_read
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db


@pytest.fixture
def counter(owner: Person) -> Counter:
    """Bins B-13 and B-14 of one fit, C-1 of another; a kind; a job with one match."""
    steels = FitFactory.create(shop=owner.shop, code="DRUM", teeth=36)
    BinFactory.create(fit=steels, code="B-14", from_nm=length_parse("0.076 in"), to_nm=length_parse("0.078 in"))
    BinFactory.create(fit=steels, code="B-13", from_nm=1_000_000, to_nm=1_100_000)
    BinFactory.create(fit=FitFactory.create(shop=owner.shop, code="HUB"), code="C-1")
    KindFactory.create(fit=steels, code="STEEL-77", mark="C")
    pack(owner, steels, FitFactory.create(shop=owner.shop, tooth_side="external"))
    counter = Counter(owner)
    counter.open("/close-a-pack/PACK/")
    counter.send("/close-a-pack/PACK/", {"reading": "55 55", "job": "J-1182", "go": "ask"})
    return counter


def scans(counter: Counter, **said: object) -> list[list[str]]:
    """Of each page of the PDF what its QR Codes carry."""
    response = counter.client.post("/labels/pdf/", said)
    assert response["Content-Type"] == "application/pdf", response.content.decode()[:3000]
    assert response["Content-Disposition"].startswith("inline;")
    return [symbols["QR Code"] for symbols, _ in pdf_pages(response.content)]


def bins(*codes: str) -> list[str]:
    return [scan_format("bin", code) for code in codes]


def test_all_that_is_listed_or_what_is_ticked(counter: Counter) -> None:
    assert scans(counter, sort="bin") == [[one] for one in bins("B-13", "B-14", "C-1")]
    assert scans(counter, sort="bin", fit="DRUM", role="steel") == [[one] for one in bins("B-13", "B-14")]
    assert scans(counter, sort="bin", find="c-") == [bins("C-1")]
    assert scans(counter, sort="bin", pick=["B-14", "C-1"]) == [[one] for one in bins("B-14", "C-1")]
    assert scans(counter, sort="kind") == [[scan_format("kind", "STEEL-77")]]
    assert scans(counter, sort="job") == [[scan_format("job", "J-1182")]]


def test_a_sheet_leaves_out_what_is_used(counter: Counter) -> None:
    assert scans(counter, sort="bin", paper="a4", skip="3") == [sorted(bins("B-13", "B-14", "C-1"))]
    assert scans(counter, sort="bin", paper="letter", skip="8") == [sorted(bins("B-13", "B-14")), bins("C-1")]


@pytest.mark.parametrize(
    "said, why",
    [
        ({"skip": "24"}, "This sheet has 24 labels; skip fewer."),
        ({"skip": "-1"}, "greater than or equal to 0"),
        ({"wide": "64"}, "has no unit"),
        ({"wide": "30 mm"}, "A label is at least 40.0 × 20.0 mm"),
        ({"wide": "70 mm"}, "From one label to the next is at least the width of a label."),
        ({"tall": "2 in"}, "From one row to the next is at least the height of a label."),
        ({"left": "200 mm"}, "No label of 64.0 × 34.0 mm lies on a sheet of 210.0 × 297.0 mm."),
    ],
)
@pytest.mark.parametrize("path", ["/labels/", "/labels/pdf/"])
def test_what_does_not_lie_on_the_sheet_is_said_beside_its_field(
    counter: Counter, path: str, said: dict[str, str], why: str
) -> None:
    text = counter.post(path, {"sort": "bin", "paper": "a4", **said})
    assert (counter.status, "As printed" in text) == (200, False)
    assert why in text


def test_the_page_shows_what_is_printed(counter: Counter) -> None:
    text = counter.open("/labels/", sort="bin", pick="B-14")
    assert "As printed: 1 label" in text
    picture = counter.html[counter.html.index("<svg") : counter.html.index("</svg>") + 6]
    assert svg_read(picture) == {"QR Code": bins("B-14"), "Code 128": bins("B-14")}
    for said in ("steel, fit DRUM", "36 teeth inside", "0.0760 to below 0.0780 in", "1.930 to below 1.981 mm"):
        assert f">{said}</text>" in picture, said
    assert "style=" not in counter.html


def test_a_job_ticket_and_a_kind(counter: Counter) -> None:
    counter.post("/labels/", {"sort": "job", "paper": "100x50"})
    for said in ("packs PACK", "core tag", "read before", "read after"):
        assert f">{said}</text>" in counter.html, said
    counter.post("/labels/", {"sort": "kind", "paper": "100x50"})
    for said in ("nominal 0.0770 in (1.956 mm)", "mark C"):
        assert f">{said}</text>" in counter.html, said


def test_a_missing_bar_code_is_said(counter: Counter, owner: Person) -> None:
    BinFactory.create(fit=FitFactory.create(shop=owner.shop), code="W" * 40)
    text = counter.open("/labels/", sort="bin")
    assert "no room for Code 128 on 1 of them (" + "W" * 40 in text


def test_links_lead_to_the_label(counter: Counter) -> None:
    for path, link in (
        ("/bins/B-14/", "/labels/?sort=bin&amp;find=B-14&amp;pick=B-14"),
        ("/bins/", "/labels/"),
        ("/kinds/", "/labels/?sort=kind"),
        ("/matches/1/", "/labels/?sort=job&amp;find=J-1182&amp;pick=J-1182"),
    ):
        counter.open(path)
        assert f'href="{link}"' in counter.html


@pytest.mark.parametrize("role", Role.values)
def test_any_role_prints(counter: Counter, owner: Person, role: str) -> None:
    other = Counter(PersonFactory.create(shop=owner.shop, role=role))
    assert scans(other, sort="bin", pick="C-1") == [bins("C-1")]


@pytest.mark.parametrize("sort", ["bin", "kind", "job"])
def test_two_shops_are_apart(counter: Counter, sort: str) -> None:
    stranger = Counter(PersonFactory.create())
    for said in ({}, {"pick": "B-14"}, {"fit": "DRUM"}):
        text = stranger.open("/labels/", sort=sort, **said)
        assert not any(code in text for code in ("B-14", "STEEL-77", "J-1182"))
        assert "As printed" not in stranger.post("/labels/pdf/", {"sort": sort, **said})


@pytest.mark.parametrize("sort", ["bin", "kind", "job"])
def test_twice_the_rows_cost_no_more_queries(counter: Counter, owner: Person, sort: str) -> None:
    with CaptureQueriesContext(connection) as few:
        counter.open("/labels/", sort=sort)
    for number in range(3):
        fit = FitFactory.create(shop=owner.shop)
        BinFactory.create(fit=fit)
        KindFactory.create(fit=fit)
        counter.open("/close-a-pack/PACK/")
        counter.send("/close-a-pack/PACK/", {"reading": "55 55", "job": f"J-{number}", "go": "ask"})
    with CaptureQueriesContext(connection) as many:
        counter.open("/labels/", sort=sort)
    assert len(many) == len(few) <= 8
