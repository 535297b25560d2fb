"""The owner's figures of packs: closed from the shelf the first time, come back, built under a lifted rule."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from plates.bench.models import Match, Missed
from plates.buying.figures.charts import first_time_drawing
from plates.buying.figures.packs import Asked, comebacks, first_asks, overrides
from plates.stock.hand_outs import hand_out_make
from shop.people.models import Person
from tests.api import Api
from tests.bench.test_comeback import back, closed
from tests.bench.test_overrides import LOOSE, SPREAD, WHY, limited
from tests.factories import PersonFactory, pack
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db
#: Six frictions want .048 to .072. Loose at .089: one plate from .094 or two of .087 close it.
ASK = question("0.089 in", ["0.0770 in"] * 6)


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner, 6)


def ask(api: Api, job: str = "", **more: Any) -> dict[str, Any]:
    body: dict[str, Any] = api.post("matches/", {**ASK, **({"job": job} if job else {}), **more}).body
    return body


def asked(shelf: Shelf) -> list[tuple[int, int, int, int, Any]]:
    """Packs, in the window, with an option, missed and the share, of 13 weeks and of a year."""
    names = ("packs", "in_window", "answered", "missed", "share")
    return [tuple(row[name] for name in names) for row in first_asks(shelf.person.shop)[0].rows]


def earlier(weeks: float) -> None:
    """All that was asked up to now was asked so many weeks ago."""
    back_by = timedelta(weeks=weeks)
    for match in Match.objects.all():
        Match.objects.filter(pk=match.pk).update(asked_at=match.asked_at - back_by)
    for miss in Missed.objects.all():
        Missed.objects.filter(pk=miss.pk).update(at=miss.at - back_by, day=miss.day - back_by)


def test_a_pack_asked_again_is_one_and_its_first_ask_counts(api: Api, shelf: Shelf) -> None:
    assert ask(api, "1")["options"] == []
    assert ask(api, "1")["options"] == []  # the miss of the day goes on to this one
    assert Missed.objects.get().match.number == 2
    assert asked(shelf)[0] == (1, 0, 0, 1, Decimal(0))
    shelf.stock("0.1070 in")
    assert ask(api, "1")["options"]  # closed at last, and not the first time
    assert asked(shelf)[0] == (1, 0, 0, 1, Decimal(0))
    assert ask(api, "2")["options"]
    assert asked(shelf)[0] == (2, 0, 1, 1, Decimal("0.5"))
    ask(api), ask(api)  # of no job: two packs
    assert asked(shelf)[0] == (4, 0, 3, 1, Decimal("0.75"))


def test_what_had_an_option_first_and_is_missed_later_that_day_was_closed(
    api: Api, shelf: Shelf, owner: Person
) -> None:
    (plate,) = shelf.stock("0.1070 in")
    assert ask(api, "1")["options"]
    hand_out_make(person=owner, reason="cash", plate_ids=[plate.pk])
    assert ask(api, "1")["options"] == [] and Missed.objects.count() == 1
    assert asked(shelf)[0] == (1, 0, 1, 0, Decimal(1))


def test_what_asks_nothing_of_the_shelf_is_no_share_of_it(api: Api, shelf: Shelf, owner: Person) -> None:
    """In its window already; not to be set at all; with no slot named that may change; come back."""
    first = api.post("matches/", question("0.060 in", ["0.0770 in"] * 6)).body
    assert asked(shelf)[0] == (1, 1, 0, 0, None)
    pack(owner, shelf.steels, shelf.frictions, 6, code="FIXED", adjustable=False)
    pack(owner, shelf.steels, shelf.frictions, 6, code="SET", set_only=True)
    for code in ("FIXED", "SET"):
        assert api.post("matches/", question("0.089 in", ["0.0770 in"] * 6, spec=code)).status == 201
    assert api.post("matches/", question("0.089 in", {})).status == 201
    assert asked(shelf)[0] == (1, 1, 0, 0, None)
    api.post(f"matches/{first['id']}/final/", {"readings": ["0.060 in"] * 3, "method": "feeler"})
    assert back(api, first, "0.0970 in").status == 201
    assert asked(shelf)[0] == (1, 1, 0, 0, None)


def test_fewer_changes_than_the_shelf_would_need_are_no_miss(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.0870 in", "0.0870 in")
    assert ask(api, "1", max_changes=1)["options"] == []
    assert asked(shelf)[0] == (1, 0, 1, 0, Decimal(1))


def test_by_weeks_and_step_by_step(api: Api, shelf: Shelf) -> None:
    """Missed 14 weeks ago, which is within the year alone; with an option 3.9 weeks and 4.1 weeks ago, and now."""
    ask(api, "1")
    earlier(9.9)
    shelf.stock("0.1070 in")
    ask(api, "2")
    earlier(0.2)
    ask(api, "3")
    earlier(3.9)
    ask(api, "4")
    assert asked(shelf) == [(3, 0, 3, 0, Decimal(1)), (4, 0, 3, 1, Decimal("0.75"))]
    _, steps = first_asks(shelf.person.shop)
    # 14 weeks back is the fourth step of four weeks: 12 to 16.
    assert steps == [Asked(1, 0, 1), Asked(), Asked(1), Asked(2)]
    drawn = first_time_drawing(steps, date(2026, 3, 30))
    assert "<desc>from 8 Dec: 0 of 1; from 5 Jan: none; from 2 Feb: 1 of 1; from 2 Mar: 2 of 2.</desc>" in drawn
    earlier(52)
    assert asked(shelf) == [] and first_asks(shelf.person.shop)[1] == []


def test_which_packs_come_back_from_whom(api: Api, owner: Person) -> None:
    """The owner built two of PACK, of which one came back twice; somebody else one of OTHER, which did not."""
    shelf = shelf_of(owner)
    pack(owner, shelf.steels, shelf.frictions, code="OTHER")
    first = closed(api)
    closed(api)
    for _ in range(2):
        assert back(api, first, "0.0970 in").status == 201
    mate = PersonFactory.create(shop=owner.shop, username="mate", role="bench")
    closed(Api(mate), spec="OTHER")
    by_person, by_spec = comebacks(owner.shop)
    names = ("built", "back", "share")
    assert [(row["person"], *(row[name] for name in names)) for row in by_person.rows] == [
        (owner.username, 2, 1, Decimal("0.5")), ("mate", 1, 0, Decimal(0)),
    ]  # fmt: skip
    assert [(row["spec"], *(row[name] for name in names)) for row in by_spec.rows] == [
        ("PACK", 2, 1, Decimal("0.5")), ("OTHER", 1, 0, Decimal(0)),
    ]  # fmt: skip
    Match.objects.filter(number=first["number"]).update(closed_at="2020-01-01T00:00Z")
    assert [(row["spec"], row["built"], row["back"]) for row in comebacks(owner.shop)[1].rows] == [
        ("OTHER", 1, 0), ("PACK", 1, 0),
    ]  # fmt: skip


def test_who_takes_the_plates_builds_the_pack(api: Api, shelf: Shelf, owner: Person) -> None:
    shelf.stock("0.1070 in")
    mate = Api(PersonFactory.create(shop=owner.shop, username="mate", role="bench"))
    found = ask(api, "1")
    taken = mate.post(f"matches/{found['id']}/take/", {"option": 1, "counted": True})
    assert taken.status == 200, taken.body
    reading = {"readings": ["0.059 in"] * 3, "method": "feeler"}
    assert api.post(f"matches/{found['id']}/final/", reading).body["state"] == "closed"
    assert [(row["person"], row["built"]) for row in comebacks(owner.shop)[0].rows] == [("mate", 1)]


def test_which_rules_were_lifted_and_by_whom(api: Api, owner: Person) -> None:
    """Spread for two packs, one of which was built under the reuse minimum, too."""
    limited(owner, "spread", "reuse_minimum")
    both = [*SPREAD, {"rule": "reuse_minimum", "reason": WHY}]
    for lifted in (SPREAD, both, []):
        assert api.post("matches/", {**LOOSE, "overrides": lifted}).status == 201
    assert [(row["person"], row["rule"], row["what"], row["packs"]) for row in overrides(owner.shop).rows] == [
        (owner.username, "spread", "how much its plates may differ", 2),
        (owner.username, "reuse_minimum", "the reuse minimum of an old plate", 1),
    ]
    Match.objects.filter(number=2).update(comeback_of=Match.objects.get(number=1))
    assert [(row["rule"], row["packs"]) for row in overrides(owner.shop).rows] == [("spread", 1)]
    assert "how much its plates may differ" in Counter(owner).open("/figures/")
