"""What the shelf could not answer is kept for the buyer: once for a job, a spec and a day."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plates.bench.ask import match_ask
from plates.bench.models import Match, Missed
from plates.bench.question import Entry, Question
from plates.catalogue.spec_models import Spec
from plates.lengths import length_parse
from shop.once import Answer, Once
from shop.people.models import Person
from tests.api import Api
from tests.factories import PersonFactory
from tests.pages.counter import Counter
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

#: Five steels of .0770 that read .089: nothing short of one of .0960 closes it.
LOOSE = question("0.089 in", ["0.0770 in"] * 5)


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    return shelf_of(owner)


def missed(api: Api, **query: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = api.get("missed/", **query).body["results"]
    return rows


@pytest.mark.parametrize("take", [False, True])
def test_an_ask_without_an_option_is_one_miss(api: Api, shelf: Shelf, take: bool) -> None:
    match = api.post("matches/", {**LOOSE, "take": take, "job": "J-1"}).body
    (row,) = missed(api)
    assert {name: row[name] for name in ("match", "match_number", "job", "spec")} == {
        "match": match["id"], "match_number": match["number"], "job": "J-1", "spec": "PACK",
    }  # fmt: skip
    assert row["would_close"] == match["shortfall"]["would_close"]
    assert row["say"] == match["shortfall"]["say"] != []
    assert row["day"] == timezone.localdate().isoformat()
    assert api.get(f"missed/{row['id']}/").body == row


def test_asked_again_it_is_still_one_and_points_at_the_latest(api: Api, shelf: Shelf) -> None:
    api.post("matches/", {**LOOSE, "job": "J-1"})
    later = api.post("matches/", {**question("0.092 in", ["0.0770 in"] * 5), "job": "J-1"}).body
    (row,) = missed(api)
    assert (row["match"], row["would_close"]) == (later["id"], later["shortfall"]["would_close"])
    at, asked_at = (datetime.fromisoformat(text).replace(microsecond=0) for text in (row["at"], later["asked_at"]))
    assert at == asked_at  # the one is told in the shop's zone


def test_another_job_or_spec_or_none_is_another(api: Api, shelf: Shelf, owner: Person) -> None:
    other = shelf_of(owner, code="OTHER").spec.code
    for more in ({"job": "J-1"}, {"job": "J-2"}, {"job": "J-1", "spec": other}, {}, {}):
        assert api.post("matches/", {**LOOSE, **more}).status == 201
    assert sorted((row["spec"], row["job"] or "") for row in missed(api)) == [
        ("OTHER", "J-1"), ("PACK", ""), ("PACK", ""), ("PACK", "J-1"), ("PACK", "J-2"),
    ]  # fmt: skip
    assert len(missed(api, spec="PACK")) == 4
    assert len(missed(api, job="J-1")) == 2
    assert missed(api, since="2999-01-01T00:00:00Z") == []
    assert len(missed(api, since="2000-01-01T00:00:00Z")) == 5


def test_the_same_key_again_is_the_same_ask(api: Api, shelf: Shelf) -> None:
    for _ in range(2):
        assert api.post("matches/", LOOSE, key="twice").status == 201
    assert Missed.objects.count() == 1


def _asked(person: Person, spec: Spec, at: datetime, reading: str = "0.089 in") -> Match:
    length_nm = length_parse(reading)
    installed = {"steels": [Entry(length_parse("0.0770 in"))] * 5}
    asked = Question(method="feeler", texts=[reading] * 3, readings_nm=[length_nm] * 3, installed=installed)
    made: list[Match] = []
    once = Once(person)
    match_ask(
        person=person,
        spec=spec,
        question=asked,
        run=lambda act: once.run(act, lambda match: made.append(match) or Answer(201, {})),
        job="J-1",
        at=at,
    )
    return made[0]


def test_the_day_is_that_on_the_wall_of_the_shop(shelf: Shelf, owner: Person, settings: Any) -> None:
    """Where it is eight hours later, one day in Greenwich is of two days, and what is asked across its midnight of one.
    """
    settings.TIME_ZONE = "Asia/Singapore"
    times = [datetime(2026, 3, day, hour, tzinfo=UTC) for day, hour in ((1, 15), (1, 17), (1, 23), (2, 9))]
    evening, *_, last = (_asked(owner, shelf.spec, at) for at in times)
    assert [(row.day, row.match) for row in Missed.objects.all()] == [
        (date(2026, 3, 1), evening), (date(2026, 3, 2), last),
    ]  # fmt: skip


def test_an_ask_entered_late_does_not_hide_a_later_one(shelf: Shelf, owner: Person, settings: Any) -> None:
    settings.TIME_ZONE = "UTC"  # both are of one day there
    evening = _asked(owner, shelf.spec, datetime(2026, 3, 1, 18, tzinfo=UTC))
    _asked(owner, shelf.spec, datetime(2026, 3, 1, 8, tzinfo=UTC), "0.091 in")
    assert Missed.objects.get().match == evening


@pytest.mark.parametrize(
    ("spec", "asked"),
    [
        ({"adjustable": False}, LOOSE),
        ({"set_only": True}, LOOSE),
        ({}, question("0.050 in", ["0.0770 in"] * 5)),  # in the window
        ({}, question("0.089 in", {})),  # names no slot
        ({}, question("0.089 in", {"frictions": ["0.0800 in"] * 5})),  # names none that may change
    ],
)
def test_no_miss(api: Api, owner: Person, spec: dict[str, bool], asked: dict[str, Any]) -> None:
    shelf_of(owner, **spec)
    assert api.post("matches/", asked).status == 201
    assert not Missed.objects.exists()


@pytest.mark.parametrize("most", [0, 1])
def test_what_the_shelf_closes_with_more_changes_than_allowed_is_none(api: Api, shelf: Shelf, most: int) -> None:
    """Two of .0771 for two of .0670 close it."""
    shelf.stock("0.0771 in", "0.0771 in")
    match = api.post("matches/", question("0.0740 in", ["0.0670 in"] * 5, max_changes=most)).body
    assert match["options"] == [] and match["shortfall"]
    assert not Missed.objects.exists()


def test_what_it_does_not_close_is_one_with_all_that_would(api: Api, shelf: Shelf) -> None:
    """The buyer is told what closes the pack, not what closes it with so few changes."""
    free = api.post("matches/", {**LOOSE, "job": "J-1"}).body["shortfall"]["would_close"]
    limited = api.post("matches/", {**LOOSE, "job": "J-2", "max_changes": 0}).body["shortfall"]["would_close"]
    assert (limited, [row["would_close"] for row in missed(api)]) == ([], [free, free])


def test_marginal_options_are_no_miss(api: Api, shelf: Shelf) -> None:
    shelf.stock("0.1061 in")  # reads .0599 then: .0001 inside the window
    match = api.post("matches/", {**LOOSE, "take": True}).body
    assert {option["confidence"] for option in match["options"]} == {"marginal"}
    assert not Missed.objects.exists()


def test_a_pack_in_its_window_with_a_plate_that_must_go_is_one(api: Api, shelf: Shelf) -> None:
    must_go = {"steels": [{"thickness": "0.0770 in", "must_go": True}, *["0.0770 in"] * 4]}
    match = api.post("matches/", question("0.050 in", must_go)).body
    assert (match["verdict"], match["options"]) == ("in_window", [])
    assert len(missed(api)) == 1


def test_a_comeback_that_nothing_closes_is_one(api: Api, shelf: Shelf) -> None:
    match = api.post("matches/", question("0.050 in", ["0.0770 in"] * 5, job="J-1")).body
    api.post(f"matches/{match['id']}/final/", {"readings": ["0.050 in"] * 3, "method": "feeler"})
    back = api.post(f"matches/{match['id']}/comeback/", {"readings": ["0.089 in"] * 3, "method": "feeler"})
    assert back.status == 201 and back.body["options"] == []
    assert [row["match"] for row in missed(api)] == [back.body["id"]]


@pytest.mark.parametrize("role", ["bench", "counter", "buyer", "owner"])
def test_all_read_it_and_nobody_of_another_shop(api: Api, shelf: Shelf, role: str) -> None:
    api.post("matches/", LOOSE)
    (row,) = missed(api)
    assert missed(Api(PersonFactory.create(shop=shelf.person.shop, role=role))) == [row]
    stranger = Api(PersonFactory.create())
    assert missed(stranger) == []
    assert stranger.get(f"missed/{row['id']}/").status == 404


@pytest.mark.parametrize("page", [False, True])
def test_twice_the_rows_take_no_more_queries(api: Api, owner: Person, shelf: Shelf, page: bool) -> None:
    counter, counts = Counter(owner), []
    for first in (0, 3):
        for number in range(first, first + 3):
            code = shelf_of(owner, code=f"PACK-{number}").spec.code
            api.post("matches/", {**LOOSE, "spec": code, "job": f"J-{number}"})
        with CaptureQueriesContext(connection) as captured:
            if page:
                counter.open("/missed/")
            else:
                assert len(missed(api)) == first + 3
        counts.append(len(captured))
    # Token, or session, person and shop; count, rows, slots, their fits, further fits.
    assert counts == [8 if page else 6] * 2


def test_the_page_has_the_newest_first_with_what_to_say(api: Api, owner: Person, shelf: Shelf) -> None:
    counter = Counter(owner)
    assert "Nothing was missed yet" in counter.open("/missed/")
    first = api.post("matches/", {**LOOSE, "job": "J-1"}).body
    second = api.post("matches/", {**question("0.092 in", ["0.0770 in"] * 5), "job": "J-2"}).body
    text = counter.open("/missed/")
    said = [match["shortfall"]["say"][0] for match in (second, first)]
    assert text.index(said[0]) < text.index(said[1])
    assert "job J-1" in text and f"match {first['number']}" in text
    assert said[0] not in counter.open("/missed/", spec="OTHER")
    assert "/buying/" in (counter.open("/"), counter.html)[1]
    assert "/missed/" in (counter.open("/buying/"), counter.html)[1]


@pytest.mark.parametrize(("most", "said"), [(0, "0 changes"), (1, "1 change")])
def test_the_reason_says_that_only_so_many_changes_were_allowed(
    api: Api, shelf: Shelf, most: int, said: str
) -> None:
    """Two of .0771 for two of .0670 would close it: the shelf alone is not to blame."""
    shelf.stock("0.0771 in", "0.0771 in")
    ask = question("0.0740 in", ["0.0670 in"] * 5)
    assert api.post("matches/", ask).body["options"]
    shortfall = api.post("matches/", {**ask, "max_changes": most}).body["shortfall"]
    assert f"No exchange of at most {said} with what is on the shelf" in shortfall["reason"]
