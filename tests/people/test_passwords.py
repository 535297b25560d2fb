"""What anybody would try is no password; what nobody would is one, whatever it is made of."""

import pytest
from django.contrib.auth.password_validation import CommonPasswordValidator, validate_password
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st

from shop.people.models import Person, Shop
from shop.people.passwords import COMMON, HOUSE
from shop.people.services import BadName, BadPassword, person_add, person_password, shop_open

KEEPER = Person(shop=Shop(name="Corner Gearbox No. 4"), username="keeper")
#: Ordinary words, some of them common passwords by themselves.
WORDS = """
    apple balcony banana bishop blanket butter candle carpet castle cheese copper curtain dragon engine evening
    feather garden ginger hammer island jacket kettle ladder lemon market monkey morning orange pepper picture planet
    pocket princess rabbit river saddle shadow silver summer sunshine tiger tractor tunnel velvet violin walnut window
"""


def refused(password: str, person: Person = KEEPER) -> list[str]:
    try:
        validate_password(password, person)
    except ValidationError as error:
        return error.messages
    return []


@pytest.mark.parametrize(
    "password",
    [
        "qwertyuiop", "password12", "Password123!", "!!2024password", "P@ssw0rd2024", "il0vey0u!!", "$unshine!1",
        "passwordpassword", "passw0rd2024passw0rd2024", "dragonmonkey", "Dragon-Monkey-77", "1234567890123",
        "ch0c0late77", "aaaaaaaaaaaa", "ababababab", "----------",
    ],
)  # fmt: skip
def test_a_common_one_in_its_usual_dress_is_refused_with_the_way_out(password: str) -> None:
    assert refused(password) == [COMMON]
    assert "Take four words" in COMMON


@pytest.mark.parametrize(
    "password",
    ["clutchplates", "Clutch-Plates-77", "steel friction wave ring", "cornergearbox1", "Corner Gearbox 4", "keeper2024",
     "k33per2024!", "gearboxkeeper"],
)  # fmt: skip
def test_words_of_the_house_are_refused_with_the_way_out(password: str) -> None:
    assert refused(password) == [HOUSE]
    assert "Take four words" in HOUSE


def test_the_house_is_the_shop_of_whoever_is_to_have_it() -> None:
    other = Person(shop=Shop(name="Harbour Works"), username="noor")
    assert refused("harbour1977", other) == [HOUSE] and refused("harbour1977") == []
    assert refused("clutch dragon", other) == [COMMON]  # one common word beside those of the house


@given(
    words=st.lists(st.sampled_from(WORDS.split()), min_size=4, max_size=4, unique=True),
    between=st.sampled_from(["", " ", "-", "7"]),
)
def test_four_words_that_have_nothing_to_do_with_each_other_pass(words: list[str], between: str) -> None:
    assert refused(between.join(words)) == []


@pytest.mark.parametrize(
    "password",
    ["x7#Kq2!mZ9", "9407213358", "!?#%&*()=+", "Ωμέγα και άλφα", "a drawer of feeler blades", "clutch of robin eggs"],
)
def test_anything_else_of_ten_characters_passes_whatever_it_is_made_of(password: str) -> None:
    assert refused(password) == []


def test_far_more_than_three_thousand_of_ten_characters_are_refused() -> None:
    """Those of Django's list, and its words of nine with a digit behind; a number with one more is another number."""
    words = CommonPasswordValidator().passwords
    bare = [word for word in words if len(word) >= 10]
    dressed = [f"{word}7" for word in words if len(word) == 9 and any(map(str.isalpha, word))]
    assert len(bare) + len(dressed) > 3000
    passed = [password for password in bare + dressed if not refused(password)]
    assert passed == []


@pytest.mark.django_db
def test_it_is_asked_wherever_a_password_is_set(owner: Person, monkeypatch: pytest.MonkeyPatch) -> None:
    Shop.objects.filter(pk=owner.shop_id).update(name="Harbour Works")
    owner.refresh_from_db()
    with pytest.raises(BadPassword, match="Anybody here would try this one"):
        person_add(person=owner, username="noor", role="bench", password="noor-harbour-1")
    noor = person_add(person=owner, username="noor", role="bench", password="a mile of string 4")
    for person in (owner, noor):
        with pytest.raises(BadPassword, match="Anybody would try this one"):
            person_password(person=person, username="noor", password="sunshine2024")
    typed = iter(["tidewater1", "four mild winter days", "four mild winter days"])
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("shop.management.commands.open_shop.getpass", lambda *_: next(typed))
    call_command("open_shop", "Tidewater", owner="wanda")
    assert Person.objects.get(username="wanda").check_password("four mild winter days")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "said"), [("  ", "A shop has a name"), ("Two\nlines", "This is one line"), ("x" * 101, "at most 100"),
                       ("Left\u202eright", "writing direction")],
)  # fmt: skip
def test_a_shop_is_called_what_its_settings_would_take(name: str, said: str) -> None:
    with pytest.raises(BadName, match=said):
        shop_open(name=name, owner="wanda", password=None)
    with pytest.raises(CommandError, match=said):
        call_command("open_shop", name, owner="wanda")
    with pytest.raises(CommandError, match="without blanks"):
        call_command("open_shop", "Shed No. 4", owner="two words")
    assert not Shop.objects.exists()
