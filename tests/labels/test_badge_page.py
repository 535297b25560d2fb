"""The badge of a person as a label: for the owner, of the badge just made, and read back as a scanner reads it."""

import re

import pytest

from shop.people.badges import UnknownBadge, badge_make, badge_owner, badge_print
from shop.people.models import AuditLine, Person, Role
from shop.people.terminals import terminal_enrol, terminal_of
from tests.factories import PersonFactory
from tests.labels.reading import pdf_pages, svg_read
from tests.pages.counter import Counter
from tests.people.conftest import PASSWORD

pytestmark = pytest.mark.django_db
AT = "/labels/badge/omar/"


@pytest.fixture
def omar(owner: Person) -> Person:
    return PersonFactory.create(shop=owner.shop, username="omar", role=Role.BENCH, pin="set")


def printed(owner: Person) -> list[str]:
    lines = AuditLine.objects.filter(shop=owner.shop, what="badge printed")
    return [f"{line.person.username} {line.subject}" for line in lines]


def test_from_the_page_of_the_person_to_a_badge_that_signs_in(owner: Person, omar: Person) -> None:
    owner.set_password(PASSWORD)
    owner.save()
    counter = Counter(owner)
    counter.open("/shop/people/omar/")
    counter.send("", {"now": PASSWORD})
    form = counter.form(AT)
    counter.post(AT, form["fields"])
    assert "Badge of omar" in counter.text and counter.path == AT
    pictures = re.findall(r"<svg.*?</svg>", counter.html, re.S)
    scans = {text for svg in pictures for text in svg_read(svg)["QR Code"]}
    assert len(pictures) == 3 and len(scans) == 1
    terminal = terminal_of(terminal_enrol(person=owner, code="T-1"))
    assert badge_owner(terminal=terminal, badge=scans.pop()) == omar
    assert printed(owner) == [f"{owner.username} omar"]

    response = counter.client.post(AT, {**form["fields"], "pdf": "62x29"})
    assert response["Content-Type"] == "application/pdf" and "no-store" in response["Cache-Control"]
    [(symbols, text)] = pdf_pages(response.content)
    assert symbols["QR Code"] == form["fields"]["badge"] and text.split() == ["Badge", "omar", "bench"]
    assert len(printed(owner)) == 2
    assert not AuditLine.objects.filter(after__contains="ID-").exists()


@pytest.mark.parametrize("role", [Role.BENCH, Role.COUNTER, Role.BUYER])
def test_nobody_but_the_owner_prints_a_badge(owner: Person, omar: Person, role: Role) -> None:
    code = badge_make(person=owner, username="omar")
    other = Counter(PersonFactory.create(shop=owner.shop, role=role))
    assert code not in other.post(AT, {"badge": code}) and other.status == 403
    stranger = Counter(PersonFactory.create())
    stranger.post(AT, {"badge": code})
    assert stranger.status == 404 and code not in stranger.html
    assert printed(owner) == []


def test_the_code_stands_in_no_address(owner: Person, omar: Person) -> None:
    code = badge_make(person=owner, username="omar")
    assert Counter(owner).client.get(AT, {"badge": code}).status_code == 405


@pytest.mark.parametrize("code", ["", "ID-1", "ID-" + "0" * 20, "%PX00"])
def test_only_the_badge_that_the_person_has_is_printed(owner: Person, omar: Person, code: str) -> None:
    old = badge_make(person=owner, username="omar")
    badge_make(person=owner, username="omar")
    for wrong in (code, old):
        with pytest.raises(UnknownBadge):
            badge_print(person=owner, username="omar", code=wrong)
    assert printed(owner) == []
