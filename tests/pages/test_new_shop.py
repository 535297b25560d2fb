"""A shop that was only just opened does the whole main job by pages alone."""

import pytest

from plates.bench.models import Match
from plates.stock.models import Plate
from shop.people.services import shop_open
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db
PASSWORD = "one wrench for every bolt"


def test_from_an_empty_shop_to_a_closed_pack(db: None) -> None:
    shop_open(name="Corner Gearbox", owner="keeper", password=PASSWORD)
    counter = Counter()
    counter.open("/")
    counter.path = "/sign-in/"
    assert "No pack is waiting" in counter.send("", {"username": "keeper", "password": PASSWORD})

    for code, side in (("DRUM", "external"), ("HUB", "internal")):
        counter.open("/add/fit/")
        fit = {"code": code, "tooth_side": side, "teeth": "36", "outer": "5.5 in", "inner": "4.2 in"}
        assert code in counter.send("", fit)
    counter.open("/add/kind/")
    kind = {"code": "S-77", "fit": "DRUM", "role": "steel", "nominal": ".077", "scan_codes": "8904000210033"}
    assert "0.0770 in (1.956 mm)" in counter.send("", kind)
    counter.open("/add/bin/")
    assert "C-2" in counter.send("", {"code": "C-2", "fit": "DRUM", "role": "steel", "from_": ".0765", "to": ".0775"})

    counter.open("/add/spec/")
    slots = {
        "slot0-name": "steels", "slot0-role": "steel", "slot0-fit": "DRUM", "slot0-count": "5", "slot0-swap": "on",
        "slot0-nominal": ".070",
        "slot1-name": "frictions", "slot1-role": "friction", "slot1-fit": "HUB", "slot1-count": "5",
        "slot1-nominal": ".080",
    }  # fmt: skip
    text = counter.send("", {"code": "DIR-5", "title": "Direct, five frictions", "source": "rule", **slots})
    assert counter.path == "/specs/DIR-5/"
    # 0.040 to 0.060 in for five counted frictions: rule of the trade (common practice, no source).
    assert "Clearance 0.0400 in (1.016 mm) to 0.0600 in (1.524 mm)" in text and "5 counted frictions" in text

    counter.open("/scan-in/", code="8904000210033")
    for reading in (".0771", ".0771", ".0768"):
        assert "goes into bin C-2" in counter.send("/scan-in/kind/S-77/", {"reading": reading})
    counter.open("/close-a-pack/", find="direct")
    at = "/close-a-pack/DIR-5/"
    counter.send(at, {"reading": "74 74 74", "slot1": ".0698 .0699 .0700 .0701 .0702", "job": "J-1", "go": "ask"})
    assert "DIR-5 is loose" in counter.text and "Predicted 0.0527 in" in counter.text
    counter.send("/matches/1/take/")
    assert "3 from C-2" in counter.open("/matches/1/slip/")
    counter.open("/matches/1/")
    counter.send("/final/", {"reading": "53 53"})
    assert "it came out in the window" in counter.send("/final/")
    assert Match.objects.get().state == "closed"
    assert Plate.objects.filter(state="taken", match__number=1).count() == 3


def test_a_misprinted_manual_is_not_saved_until_a_person_says_which_unit_governs(owner: object) -> None:
    """0.910 to 1.180 mm printed as .36 to .46 in (true .0358 to .0465)."""
    counter = Counter(owner)  # type: ignore[arg-type]
    counter.open("/add/fit/")
    counter.send("", {"code": "DRUM", "tooth_side": "external", "teeth": "36", "outer": "140 mm", "inner": "110 mm"})
    counter.open("/add/spec/")
    spec = {
        "code": "ODD", "title": "Odd", "source": "manual", "low": "0.910 mm", "high": "1.180 mm",
        "reference": "Invented manual, p. 9", "also_low": ".36 in", "also_high": ".46 in",
        "slot0-name": "steels", "slot0-role": "steel", "slot0-fit": "DRUM", "slot0-count": "5",
    }  # fmt: skip
    assert "The manual contradicts itself" in counter.send("", spec)
    counter.send("", {"governs": "mm"})
    assert counter.path == "/specs/ODD/"
    assert "0.910 mm (0.0358 in) to 1.180 mm (0.0465 in)" in counter.text


def test_one_more_slot_keeps_what_was_typed(owner: object) -> None:
    counter = Counter(owner)  # type: ignore[arg-type]
    counter.open("/add/spec/")
    counter.send("", {"code": "LONG", "slot0-name": "steels", "more": "1"})
    fields = counter.form("")["fields"]
    assert fields["code"] == ["LONG"] and fields["slot0-name"] == ["steels"] and "slot3-name" in fields
    assert "Fill this in" not in counter.text and "may stay blank" not in counter.text
