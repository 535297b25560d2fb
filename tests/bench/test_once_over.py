"""What a second round must remember, and what a part left out must not be taken for."""

import pytest

from plates.bench.models import Match
from plates.catalogue.specs import SlotData, spec_make
from plates.catalogue.windows import Window
from plates.lengths import length_parse
from shop.people.models import Person
from tests.api import Api
from tests.factories import FitFactory, KindFactory, shelve

pytestmark = pytest.mark.django_db

WINDOW = Window("manual", length_parse("0.040 in"), length_parse("0.060 in"), length_parse("0.050 in"), "Book, page 3")


def test_an_extra_is_granted_once(api: Api, owner: Person) -> None:
    steels = FitFactory.create(shop=owner.shop)
    slot = SlotData("steels", "steel", steels, 2, extra=1, nominal_nm=length_parse("0.070 in"))
    spec_make(person=owner, code="P", title="Pack", measures="gap", window=WINDOW, slots=[slot])
    shelve(owner, KindFactory.create(fit=steels), "0.070 in", "0.070 in")
    body = {"spec": "P", "readings": ["0.120 in"] * 2, "method": "indicator", "installed": {"steels": ["0.070 in"] * 2}}
    match = api.post("matches/", {**body, "counted": True, "take": True}).body
    assert [row["way"] for row in match["options"]] == ["extra"]
    again = api.post(f"matches/{match['id']}/final/", {"readings": ["0.120 in"] * 2, "method": "indicator"}).body
    assert (again["state"], again["verdict"], again["options"]) == ("open", "high", [])


def test_a_ring_left_out_to_measure_is_not_a_missing_plate(api: Api, owner: Person) -> None:
    rings = FitFactory.create(shop=owner.shop, tooth_side="none", teeth=0)
    slot = SlotData("ring", "snap_ring", rings, 1, swap=True, nominal_nm=length_parse("0.060 in"))
    spec_make(person=owner, code="R", title="Ring pack", measures="gap", window=WINDOW, slots=[slot])
    shelve(owner, KindFactory.create(fit=rings, role="snap_ring", nominal_nm=length_parse("0.060 in")), "0.060 in")
    body = {"spec": "R", "readings": ["0.110 in"] * 3, "method": "depth", "installed": {}, "left_out": ["ring"]}
    match = api.post("matches/", {**body, "take": True}).body
    assert "count_first" not in [caution["code"] for caution in match["cautions"]]
    assert match["state"] == "taken"


def test_a_plate_that_was_never_read_keeps_its_doubt_in_the_next_round(api: Api, owner: Person) -> None:
    steels = FitFactory.create(shop=owner.shop)
    slot = SlotData("steels", "steel", steels, 1, swap=True, nominal_nm=length_parse("0.070 in"))
    spec_make(person=owner, code="P", title="Pack", measures="gap", window=WINDOW, slots=[slot])
    kind = KindFactory.create(fit=steels)
    lot = {"kind": kind.code, "count": 2, "readings": [["0.0769 in"]], "confirm": True}
    (read,) = [plate["id"] for plate in api.post("lots/", lot).body["plates"] if plate["measured"]]
    assert api.post(f"plates/{read}/scrap/", {"reason": "bent"}).status == 200
    body = {"spec": "P", "readings": ["0.057 in"] * 2, "method": "indicator", "installed": {"steels": ["0.070 in"]}}
    match = api.post("matches/", {**body}).body
    option = next(row for row in match["options"] if row["changes"] == 1)
    taken = api.post(f"matches/{match['id']}/take/", {"option": option["number"]}).body
    api.post(f"matches/{match['id']}/final/", {"readings": ["0.070 in"] * 2, "method": "indicator"})
    entry = Match.objects.get().question["installed"]["steels"][0]
    assert taken["state"] == "taken"
    assert entry["u_nm"] > 0
