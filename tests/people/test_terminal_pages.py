"""At the terminal: badge and PIN, change of person, the lock, and a form that met it."""

import re

import pytest
from django.test import Client
from django.urls import URLPattern, get_resolver

from plates.stock.ledger_models import LedgerLine
from shop.entry import COOKIE
from shop.people.audit import audit
from shop.people.badges import badge_make, pin_set
from shop.people.models import Person, Terminal
from shop.people.services import person_active, person_password
from shop.people.settings import settings_change
from shop.people.terminals import terminal_end, terminal_enrol
from tests.api import Api
from tests.factories import PersonFactory
from tests.pages.conftest import Bench
from tests.pages.conftest import bench as bench
from tests.pages.counter import Counter
from tests.people.conftest import PASSWORD, PIN, At, Badged, badged

pytestmark = pytest.mark.django_db


def idle(counter: Counter, minutes: float) -> None:
    """Nobody has done anything in this window for so long."""
    session = counter.client.session
    session["seen"] -= minutes * 60
    session.save()


def come_in(counter: Counter, badge: str, pin: str = PIN) -> str:
    counter.send("/sign-in/", {"badge": badge})
    return counter.send("/sign-in/", {"pin": pin})


@pytest.fixture
def window(at: At, ines: Badged, bench: Bench) -> Counter:
    """The terminal with its first person signed in by badge."""
    counter = at.counter()
    counter.open("/bins/")
    come_in(counter, ines.badge)
    return counter


def test_a_badge_and_its_pin_sign_in_and_lead_where_one_was(window: Counter) -> None:
    assert window.path == "/bins/"
    assert "ines, bench, at bench-2" in window.text


def test_the_page_asks_for_the_pin_of_whose_badge_it_is(at: At, ines: Badged) -> None:
    counter = at.counter()
    counter.open("/sign-in/")
    assert "PIN of ines" in counter.send("/sign-in/", {"badge": ines.badge})
    assert "4 more tries" in counter.send("/sign-in/", {"pin": "0000"})
    assert counter.client.get("/").status_code == 302
    # scanned into the field for the name, which may have the focus
    assert "PIN of ines" in counter.post("/sign-in/", {"username": ines.badge, "password": ""})


def test_elsewhere_a_badge_is_refused_with_the_way_out(ines: Badged, at: At) -> None:
    counter = Counter()
    counter.open("/sign-in/")
    assert "not an enrolled terminal" in counter.post("/sign-in/", {"username": ines.badge, "password": ""})
    assert "PIN" not in counter.text.replace("PIN of", "")
    foreign = Counter()
    foreign.client.cookies[COOKIE] = terminal_enrol(person=PersonFactory.create(), code="bench-2")
    foreign.open("/sign-in/")
    assert "Nobody here has this badge" in foreign.send("/sign-in/", {"badge": ines.badge})


def test_a_locked_badge_is_freed_by_the_password(window: Counter, ines: Badged) -> None:
    window.send("/change-person/")
    window.send("/sign-in/", {"badge": ines.badge})
    for _ in range(4):
        window.send("/sign-in/", {"pin": "0000"})
    assert "locked the badge of ines" in window.send("/sign-in/", {"pin": "0000"})
    assert "locked the badge of ines" in window.send("/sign-in/", {"badge": ines.badge})
    window.send("/sign-in/", {"username": "ines", "password": PASSWORD}, nth=1)
    assert window.path == "/bins/"
    window.send("/change-person/")
    come_in(window, ines.badge)
    assert "ines, bench" in window.text


def test_another_badge_and_the_next_person_is_on_where_the_first_was(window: Counter, owner: Person) -> None:
    omar = badged(owner, "omar", "counter")
    window.open("/matches/?job=J-7")
    window.send("/change-person/")
    come_in(window, omar.badge)
    assert window.path == "/matches/?job=J-7"
    assert "omar, counter, at bench-2" in window.text


@pytest.mark.parametrize("foreign", ["https://elsewhere.example/bins/", "//elsewhere.example/bins/", "http://[", "x"])
def test_the_way_back_is_always_a_page_of_ours(window: Counter, owner: Person, ines: Badged, foreign: str) -> None:
    window.post("/change-person/", {"next": foreign})
    window.post("/sign-in/", {"badge": ines.badge, "pin": PIN, "next": foreign})
    assert window.path in ("/", "/bins/")


def test_what_is_done_there_carries_person_and_terminal(window: Counter, owner: Person, ines: Badged) -> None:
    window.open("/scan-in/kind/STEEL-77/")
    window.send("/scan-in/kind/STEEL-77/", {"reading": ".0771"})
    line = LedgerLine.objects.select_related("terminal", "person").latest("at", "pk")
    assert line.terminal is not None
    assert (line.person, line.terminal.code) == (ines.person, "bench-2")
    assert "ines at bench-2" in window.open(f"/plates/{line.plate_id}/")
    assert Api(owner).get(f"ledger/{line.pk}/").body["terminal"] == "bench-2"
    lines = Api(owner).get("ledger/").body["results"]
    assert {row["terminal"] for row in lines if row["person"] != "ines"} == {None}


def test_a_terminal_of_another_shop_is_none_of_this_one(owner: Person, bench: Bench) -> None:
    counter = Counter(owner)
    counter.client.cookies[COOKIE] = terminal_enrol(person=PersonFactory.create(), code="theirs")
    counter.open("/scan-in/kind/STEEL-77/")
    counter.send("/scan-in/kind/STEEL-77/", {"reading": ".0771"})
    assert LedgerLine.objects.latest("at", "pk").terminal is None


def test_the_owner_ends_a_terminal_and_whoever_came_by_badge_is_out(window: Counter, owner: Person) -> None:
    by_name = Counter(PersonFactory.create(shop=owner.shop))
    by_name.client.cookies[COOKIE] = window.client.cookies[COOKIE].value
    by_name.open("/")
    terminal_end(person=owner, code="bench-2")
    window.open("/bins/")
    assert window.path.startswith("/sign-in/")
    assert "Badge" not in window.text
    by_name.open("/bins/")  # a password is good anywhere
    assert by_name.path == "/bins/"


def test_whoever_came_by_a_badge_that_has_ended_is_out(window: Counter, owner: Person) -> None:
    badge_make(person=owner, username="ines")
    window.open("/bins/")
    assert window.path.startswith("/sign-in/?next=")


def test_whoever_left_is_out_at_once(window: Counter, owner: Person) -> None:
    person_active(person=owner, username="ines", active=False)
    window.open("/bins/")
    assert window.path.startswith("/sign-in/?next=")


def test_who_is_taken_back_finds_nothing_open(owner: Person) -> None:
    someone = PersonFactory.create(shop=owner.shop, username="someone")
    counter, api = Counter(someone), Api(someone)
    assert api.get("bins/").status == 200
    for active in (False, True):
        person_active(person=owner, username="someone", active=active)
        counter.open("/bins/")
        assert counter.path.startswith("/sign-in/?next=")
        assert api.get("bins/").status == 401


def test_a_wrong_pin_is_listed_with_the_sign_ins(window: Counter, owner: Person) -> None:
    idle(window, 11)
    window.open("/matches/")
    window.send("/unlock/", {"pin": "0000"})
    line = audit(owner.shop_id, sign_ins=True)[0]
    assert (line.what, line.subject) == ("wrong PIN", "ines") and line.terminal is not None
    assert not audit(owner.shop_id).filter(what="wrong PIN").exists()


def test_an_owner_changes_the_own_secrets_under_me(owner: Person) -> None:
    """Where the old one is asked for: who finds the page of an owner open sets nothing there."""
    counter = Counter(owner)
    own = f"/shop/people/{owner.username}/"
    page = counter.open(own)
    assert "changed under Me" in page and "Set the PIN" not in page and "Set the password" not in page
    before = Person.objects.values("password", "pin").get(pk=owner.pk)
    for form in ({"act": "password", "password": PASSWORD}, {"act": "pin", "pin": "739152"}):
        assert "where the old one is asked for" in counter.post(own, form)
    assert Person.objects.values("password", "pin").get(pk=owner.pk) == before


def test_a_new_password_ends_what_the_old_one_opened(owner: Person) -> None:
    someone = PersonFactory.create(shop=owner.shop, username="someone")
    counter = Counter(someone)
    counter.open("/bins/")
    assert counter.path == "/bins/"
    person_password(person=owner, username="someone", password=PASSWORD)
    counter.open("/bins/")
    assert counter.path.startswith("/sign-in/?next=")


def test_a_new_pin_ends_what_the_old_one_opened_but_here(window: Counter, at: At, ines: Badged, owner: Person) -> None:
    """At the door and at the lock; a session of the password alone, and other people's, go on."""
    door, lock, by_name, omar = at.counter(), at.counter(ines.person), Counter(ines.person), at.counter()
    door.open("/bins/")
    come_in(door, ines.badge)
    lock.open("/bins/")
    idle(lock, 11)
    lock.open("/bins/")
    lock.send("/unlock/", {"pin": PIN})
    omar.open("/bins/")
    come_in(omar, badged(owner, "omar").badge)
    said = window.post("/me/", {"act": "pin", "now": PIN, "pin": "8260"})
    assert "What the old one opened elsewhere has ended." in said
    for one in (door, lock):
        one.open("/bins/")
        assert one.path == "/sign-in/?next=%2Fbins%2F"
    for one in (window, by_name, omar):
        one.open("/bins/")
        assert one.path == "/bins/"
    pin_set(person=owner, username="ines", pin="5183")
    window.open("/bins/")
    assert window.path == "/sign-in/?next=%2Fbins%2F"


def test_the_lock_asks_for_the_pin_and_goes_on_where_one_was(window: Counter) -> None:
    window.open("/matches/?job=J-7")
    idle(window, 9)
    window.open("/matches/?job=J-7")
    assert window.path == "/matches/?job=J-7"
    idle(window, 11)
    assert "PIN of ines" in window.open("/matches/?job=J-7")
    assert window.path.startswith("/unlock/?next=")
    assert "Home" not in window.text  # no page is offered that would only lock again
    assert "4 more tries" in window.send("/unlock/", {"pin": "0000"})
    window.send("/unlock/", {"pin": PIN})
    assert window.path == "/matches/?job=J-7"


def test_without_a_terminal_the_lock_asks_for_the_password(owner: Person, ines: Badged) -> None:
    counter = Counter(ines.person)
    counter.open("/bins/")
    idle(counter, 11)
    assert "Password of ines" in counter.open("/bins/")
    assert "PIN of ines" not in counter.text
    assert "not the password" in counter.send("/unlock/", {"password": "wrong"})
    counter.post("/unlock/", {"pin": PIN, "next": "/bins/"})  # a PIN is good at a terminal only
    assert "not the password" in counter.text
    counter.send("/unlock/", {"password": PASSWORD})
    assert counter.path == "/bins/"


def test_five_wrong_pins_at_the_lock_leave_the_password(window: Counter) -> None:
    idle(window, 11)
    window.open("/bins/")
    for _ in range(5):
        window.post("/unlock/", {"pin": "0000", "next": "/bins/"})
    assert "locked the badge" in window.text and "PIN of ines" not in window.text
    window.post("/unlock/", {"pin": PIN, "next": "/bins/"})
    assert window.path == "/unlock/"
    window.send("/unlock/", {"password": PASSWORD})
    assert window.path == "/bins/"


def test_the_shop_sets_how_long(window: Counter, owner: Person) -> None:
    settings_change(person=owner, lock_minutes=2)
    idle(window, 1.9)
    window.open("/bins/")
    assert window.path == "/bins/"
    idle(window, 2.1)
    window.open("/bins/")
    assert window.path.startswith("/unlock/")


def test_a_form_that_meets_the_lock_waits_and_is_sent_when_it_is_opened(window: Counter, ines: Badged) -> None:
    window.open("/scan-in/kind/STEEL-77/")
    before = LedgerLine.objects.count()
    idle(window, 11)
    window.send("/scan-in/kind/STEEL-77/", {"reading": ".0771"})
    assert (window.path, LedgerLine.objects.count()) == ("/unlock/", before)
    assert "nothing has been done with it yet" in window.send("/unlock/", {"pin": PIN})
    assert "Reading.0771" in window.text and "Condition new" in window.text.replace("Conditionnew", "Condition new")
    form = window.form("/scan-in/kind/STEEL-77/")
    assert form["fields"]["reading"] == [".0771"]
    assert form["fields"]["key"][0] not in window.text
    window.send("/scan-in/kind/STEEL-77/")
    assert LedgerLine.objects.count() == before + 1
    assert LedgerLine.objects.latest("at", "pk").person == ines.person


def test_it_waits_for_the_next_person_too_and_for_nobody_after_a_sign_out(window: Counter, owner: Person) -> None:
    omar = badged(owner, "omar", "counter")
    window.open("/scan-in/kind/STEEL-77/")
    idle(window, 11)
    window.send("/scan-in/kind/STEEL-77/", {"reading": ".0771"})
    window.send("/change-person/")
    assert "Send it now, as omar" in come_in(window, omar.badge)
    window.send("/scan-in/kind/STEEL-77/")
    assert LedgerLine.objects.latest("at", "pk").person == omar.person
    window.open("/scan-in/kind/STEEL-77/")
    idle(window, 11)
    window.send("/scan-in/kind/STEEL-77/", {"reading": ".0772"})
    window.send("/sign-out/")
    come_in(window, omar.badge)
    assert window.path == "/"


def test_a_form_sent_after_the_session_was_forgotten_waits_as_well(owner: Person, bench: Bench) -> None:
    owner.set_password(PASSWORD)
    owner.save()
    counter = Counter(owner)
    counter.open("/scan-in/kind/STEEL-77/")
    form = counter.form("/scan-in/kind/STEEL-77/")
    counter.client.logout()
    counter.post("/scan-in/kind/STEEL-77/", {**form["fields"], "reading": ".0771"})
    assert counter.path == "/sign-in/"
    assert "Your form waited" in counter.send("/sign-in/", {"username": owner.username, "password": PASSWORD})


def test_a_secret_is_not_kept(window: Counter, owner: Person) -> None:
    window.open("/me/")
    idle(window, 11)
    window.send("/me/", {"password_now": PASSWORD, "password": "another good one"}, nth=1)
    window.send("/unlock/", {"pin": PIN})
    assert PASSWORD not in window.html and "another good one" not in window.html


def test_a_fragment_leads_the_whole_page_to_the_lock_and_keeps_what_was_typed(window: Counter) -> None:
    window.open("/scan-in/kind/STEEL-77/")
    idle(window, 11)
    here = {"HTTP_HX_REQUEST": "true", "HTTP_HX_CURRENT_URL": "http://testserver/scan-in/kind/STEEL-77/?gauge=M-1"}
    response = window.client.post("/scan-in/kind/STEEL-77/", {"reading": ".0771"}, **here)
    assert response.headers["HX-Redirect"] == "/unlock/?next=%2Fscan-in%2Fkind%2FSTEEL-77%2F%3Fgauge%3DM-1"
    assert response.headers["HX-Trigger"] == "keep-typed"


#: What answers whoever is there or nobody: the doors themselves, and what is no page.
DOORS = {"sign-in", "second-step", "unlock", "sign-out", "change-person", "healthz", "readyz", "metrics"}


def test_no_page_passes_the_lock(window: Counter) -> None:
    """Every address of the site, by GET and by POST."""
    idle(window, 11)
    found = [one for one in get_resolver().url_patterns if isinstance(one, URLPattern)]
    pages = [one for one in found if one.name and one.name not in DOORS]
    assert len(pages) > 40
    for one in pages:
        path = "/" + str(one.pattern)
        for sort, word in {"int": "1", "str": "X", "uuid": "01a21d57-0000-7000-8000-000000000000"}.items():
            path = re.sub(f"<{sort}:[^>]*>", word, path)
        for response in (window.client.get(path), window.client.post(path)):
            leads = response.headers.get("Location", "")
            assert response.status_code == 405 or leads.startswith("/unlock/"), (path, response.status_code)


def test_the_terminals_cookie_is_for_the_server_alone(owner: Person) -> None:
    counter = Counter(owner)
    counter.open("/shop/terminals/")
    counter.send("/shop/terminals/", {"code": "press"})
    cookie = counter.client.cookies[COOKIE]
    assert (cookie["httponly"], cookie["samesite"], int(cookie["max-age"])) == (True, "Lax", 400 * 24 * 3600)
    assert "in use: this one" in counter.text
    assert "Enrol this browser" not in counter.text
    assert Terminal.objects.get().sha256 != cookie.value
    counter.send("/shop/terminals/press/end/")
    assert "Enrol this browser" in counter.text


def test_a_badge_posted_from_elsewhere_is_refused(at: At, ines: Badged) -> None:
    client = Client(enforce_csrf_checks=True)
    client.cookies[COOKIE] = at.token
    assert client.post("/sign-in/", {"badge": ines.badge, "pin": PIN}).status_code == 403
