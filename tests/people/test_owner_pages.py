"""What the owner finds under Shop, and everybody under Me."""

import re

import pytest

from shop.people.audit import SIGN_INS
from shop.people.badges import pin_set
from shop.people.models import AuditLine, Person, Role
from shop.people.services import person_active
from tests.factories import PersonFactory
from tests.pages.counter import Counter
from tests.people.conftest import PASSWORD, PIN, Badged

pytestmark = pytest.mark.django_db

GIVEN = "a mile of string 4"
PAGES = ["/shop/people/", "/shop/terminals/", "/shop/settings/", "/shop/changes/", "/add/person/"]


@pytest.fixture
def counter(owner: Person) -> Counter:
    owner.set_password(PASSWORD)
    owner.save()
    return Counter(owner)


@pytest.mark.parametrize("role", [Role.BENCH, Role.COUNTER, Role.BUYER])
def test_only_the_owner_is_offered_and_shown_them(owner: Person, role: str) -> None:
    other = Counter(PersonFactory.create(shop=owner.shop, role=role))
    assert 'href="/shop/' not in other.open("/") + other.html
    for path in [*PAGES, f"/shop/people/{owner.username}/", "/shop/terminals/x/"]:
        assert "is for owner. Ask one of them." in other.open(path)
        assert other.status == 200 and "<form method" not in other.html.split("</main>")[0]
        other.post(path, {"act": "leave", "code": "x", "username": "x"})
        assert other.status in (403, 405)
    assert AuditLine.objects.count() == 0


@pytest.mark.parametrize(
    ("role", "offered", "not_offered"),
    [
        (
            "bench",
            ["/scan-in/", "/close-a-pack/", "/add/bin/", "/add/gauge/"],
            ["/add/fit/", "/add/kind/", "/add/spec/"],
        ),
        ("counter", ["/scan-in/", "/close-a-pack/", "/add/bin/"], ["/add/fit/", "/add/kind/", "/add/spec/"]),
        (
            "buyer",
            ["/add/fit/", "/add/kind/", "/add/spec/"],
            ["/scan-in/", "/close-a-pack/", "/add/bin/", "/add/gauge/"],
        ),
    ],
)
def test_a_page_offers_what_the_role_may_do(
    owner: Person, role: str, offered: list[str], not_offered: list[str]
) -> None:
    other = Counter(PersonFactory.create(shop=owner.shop, role=role))
    html = ""
    for path in ("/", "/fits/", "/kinds/", "/specs/", "/bins/", "/gauges/"):
        other.open(path)
        html += other.html
    assert [path for path in offered if f'href="{path}"' not in html] == []
    assert [path for path in not_offered if f'href="{path}"' in html] == []


def test_a_person_is_added_and_signs_in(counter: Counter) -> None:
    counter.open("/add/person/")
    assert "Fill this in." in counter.send("", {"username": "", "password": PASSWORD, "now": PASSWORD})
    assert "too short" in counter.send("", {"username": "ines", "password": "short", "now": PASSWORD})
    counter.send("", {"username": "ines", "role": "buyer", "password": GIVEN, "now": PASSWORD})
    assert counter.path == "/shop/people/ines/"
    assert "ines, buyer" in counter.text
    counter.open("/add/person/")
    assert "has this name already" in counter.send("", {"username": "ines", "password": GIVEN, "now": PASSWORD})
    other = Counter()
    other.open("/")
    other.send("", {"username": "ines", "password": GIVEN})
    assert "ines, buyer" in other.text


def test_role_password_pin_and_leaving(counter: Counter, ines: Badged) -> None:
    counter.open("/shop/people/ines/")
    act = {"role": 2, "pin": 1, "password": 3, "leave": 5}
    counter.send("", {"role": "counter", "now": PASSWORD}, nth=act["role"])
    assert "ines, counter" in counter.text
    assert "first that anybody would try" in counter.send("", {"pin": "1111", "now": PASSWORD}, nth=act["pin"])
    counter.send("", {"pin": "8260", "now": PASSWORD}, nth=act["pin"])
    counter.send("", {"password": "quite another one", "now": PASSWORD}, nth=act["password"])
    ines.person.refresh_from_db()
    assert ines.person.check_password("quite another one")
    assert "Works here no more" in counter.text
    counter.send("", nth=act["leave"])
    assert "does not work here any more" in counter.text
    assert "left" in counter.open("/shop/people/")
    counter.open("/shop/people/ines/")
    assert "ines, counter" in counter.send("", {"now": PASSWORD}, nth=0)
    whats = [line.what for line in AuditLine.objects.order_by("at", "id")]
    assert whats == ["PIN set", "badge made", "role", "PIN set", "password set", "left", "came back"]


def test_the_last_owner_reads_why_and_stays(counter: Counter, owner: Person) -> None:
    counter.open(f"/shop/people/{owner.username}/")
    assert "Make somebody else an owner first" in counter.send("", {"role": "bench", "now": PASSWORD}, nth=1)
    assert "Make somebody else an owner first" in counter.send("", nth=3)
    owner.refresh_from_db()
    assert owner.is_active and owner.role == Role.OWNER


def test_a_badge_is_shown_once(counter: Counter, owner: Person) -> None:
    PersonFactory.create(shop=owner.shop, username="omar")
    counter.open("/shop/people/omar/")
    text = counter.send("", {"now": PASSWORD}, nth=0)
    (code,) = re.findall(r"ID-[0-9A-Z]{20}", text)
    assert "Without a PIN it opens nothing yet" in text
    assert code not in counter.open("/shop/people/omar/")


@pytest.mark.parametrize(
    ("path", "form", "nth"),
    [
        ("/add/person/", {"username": "nora", "role": "owner", "password": GIVEN}, 0),
        ("/shop/people/ines/", {}, 0),
        ("/shop/people/ines/", {"pin": "8260"}, 1),
        ("/shop/people/ines/", {"role": "owner"}, 2),
        ("/shop/people/ines/", {"password": GIVEN}, 3),
    ],
)
def test_what_opens_doors_to_somebody_asks_who_sits_there(
    counter: Counter, owner: Person, ines: Badged, path: str, form: dict[str, str], nth: int
) -> None:
    """A window of the owner that was left open gives nobody a way in."""
    pin_set(person=owner, username=owner.username, pin="5183")
    before, lines = list(Person.objects.order_by("pk").values()), AuditLine.objects.count()
    counter.open(path)
    assert "Fill this in." in counter.send("", form, nth=nth)
    assert "neither your password nor your PIN" in counter.send("", {**form, "now": "not it"}, nth=nth)
    assert list(Person.objects.order_by("pk").values()) == before
    assert AuditLine.objects.exclude(what="wrong password").count() == lines
    assert "4 more tries" in counter.send("", {**form, "now": "0000"}, nth=nth)
    assert not AuditLine.objects.filter(what__in=["added", "role"]).exists()
    counter.send("", {**form, "now": "5183"}, nth=nth)  # the PIN does as well
    assert AuditLine.objects.exclude(what__in=SIGN_INS).count() == lines + 1


def test_taking_somebody_back_opens_a_door_too(counter: Counter, owner: Person, ines: Badged) -> None:
    """Password and PIN are the old ones."""
    person_active(person=owner, username="ines", active=False)
    pin_set(person=owner, username=owner.username, pin="5183")
    counter.open("/shop/people/ines/")
    assert "Fill this in." in counter.send("")
    assert "neither your password nor your PIN" in counter.send("", {"now": "not it"})
    assert not Person.objects.get(username="ines").is_active
    counter.send("", {"now": "5183"})
    assert Person.objects.get(username="ines").is_active


def test_settings_are_shown_kept_and_refused_in_words(counter: Counter, owner: Person) -> None:
    counter.open("/shop/settings/")
    fields = counter.form("/shop/settings/")["fields"]
    assert (fields["u_micrometer_nm"], fields["spread_nm"], fields["sure_level"]) == (
        ["0.0002 in"],
        ["0.0030 in"],
        ["95"],
    )
    counter.send("/shop/settings/")  # nothing is changed, so nothing is on record
    assert "The settings are kept." in counter.text and AuditLine.objects.count() == 0
    assert "1 to 480 minutes" in counter.send("/shop/settings/", {"lock_minutes": "0"})
    assert "at most 0.0200 in" in counter.send("/shop/settings/", {"lock_minutes": "5", "u_air_nm": "1 in"})
    counter.send("/shop/settings/", {"u_air_nm": "0.01 mm", "unit_first": "mm", "sure_level": "97.5"})
    owner.shop.refresh_from_db()
    assert (owner.shop.u_air_nm, owner.shop.lock_minutes, owner.shop.sure_level) == (10_000, 5, 0.975)
    fields = counter.form("/shop/settings/")["fields"]
    assert (fields["u_air_nm"], fields["u_stacked_nm"], fields["sure_level"]) == (["0.01 mm"], ["0.0127 mm"], ["97.5"])
    counter.send("/shop/settings/")
    assert "Lock after10 min5 min" in counter.open("/shop/changes/")
    assert AuditLine.objects.count() == 4


def test_everybody_changes_the_own_password_and_pin(owner: Person, ines: Badged) -> None:
    counter = Counter(ines.person)
    counter.open("/me/")
    assert "This is not your password" in counter.send("/me/", {"password_now": "x", "password": "y" * 12}, nth=1)
    assert "neither your password nor your PIN" in counter.send("/me/", {"now": "x", "pin": "8260"})
    assert "4 more tries" in counter.send("/me/", {"now": "0000", "pin": "8260"})
    assert "Your PIN is set." in counter.send("/me/", {"now": PIN, "pin": "8260"})
    assert "Your PIN is set." in counter.send("/me/", {"now": PASSWORD, "pin": "5183"})
    counter.send("/me/", {"password_now": PASSWORD, "password": "quite another one"}, nth=1)
    assert "Your password is changed." in counter.text  # and one is still signed in
    lines = AuditLine.objects.order_by("-at", "-id").values_list("person__username", "what")[:3]
    assert list(lines) == [("ines", "password set"), ("ines", "PIN set"), ("ines", "PIN set")]


def test_another_shop_finds_nobody_here(ines: Badged) -> None:
    stranger = Counter(PersonFactory.create())
    stranger.open("/shop/people/ines/")
    assert stranger.status == 404
    assert "ines" not in stranger.open("/shop/people/") + stranger.open("/shop/changes/")
