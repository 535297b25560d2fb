"""Hydraulics of a pack spec through the API, and the estimates that come of them.

Figures: plain geometry and the sharp-edged orifice, recomputed (C); C_d 0.61 to 0.65 is a handbook range.
"""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.catalogue.spec_models import Spec
from shop.people.models import Person
from tests.api import Api, Reply
from tests.database.processes import ROOT
from tests.factories import FitFactory, PersonFactory

pytestmark = pytest.mark.django_db
README = (ROOT / "README.md").read_text(encoding="utf-8")

#: Piston 5.50 by 3.25 in, orifice 0.078 in, 40 psi net; return spring 250 lbf and 2 400 lbf/in; faces of 2.6 and 2.1 in
#: radius, 100 psi; steel stack of 0.988 in in aluminium, 70 K warmer.
KNOWN = {
    "piston_outer": "5.50 in", "piston_inner": "3.25 in", "orifice": "0.078 in", "pressure": "40 psi",
    "apply_pressure": "100 psi", "spring_rest": "250 lbf", "spring_rate": "2400 lbf/in", "friction": "0.13",
    "face_outer": "5.2 in", "face_inner": "4.2 in", "drum": "aluminium", "stack": "0.988 in", "warmer": "70 K",
}  # fmt: skip


@pytest.fixture
def body(owner: Person) -> dict[str, Any]:
    """Five counted frictions, 0.040 to 0.060 in."""
    for code, side in (("DRUM", "external"), ("HUB", "internal")):
        FitFactory.create(shop=owner.shop, code=code, tooth_side=side)
    return {
        "code": "PACK", "title": "Direct", "measures": "gap", "window": {"source": "rule"},
        "slots": [
            {"name": "steels", "role": "steel", "fit": "DRUM", "count": 5, "swap": True},
            {"name": "frictions", "role": "friction", "fit": "HUB", "count": 5},
        ],
    }  # fmt: skip


@pytest.fixture
def made(api: Api, body: dict[str, Any]) -> dict[str, Any]:
    reply = api.post("specs/", {**body, "hydraulics": KNOWN})
    assert reply.status == 201, reply
    answer: dict[str, Any] = reply.body
    return answer


def estimates(api: Api, clearance: str = "0.074 in", **more: str) -> dict[str, dict[str, Any]]:
    reply = api.get("specs/PACK/estimates/", clearance=clearance, **more)
    assert reply.status == 200, reply
    return {one["code"]: one for one in reply.body["results"]}


def test_hydraulics_come_back_as_they_were_given(api: Api, made: dict[str, Any]) -> None:
    shown = api.get("specs/PACK/").body["hydraulics"]
    assert shown == made["hydraulics"]
    assert shown["piston_outer"] == {"nm": 139_700_000, "in": "5.5000", "mm": "139.700"}
    given = {name: text for name, text in KNOWN.items() if name not in shown or not isinstance(shown[name], dict)}
    assert {name: shown[name] for name in given} == given
    stored = Spec.objects.get().hydraulics
    assert stored["pressure_pa"] == pytest.approx(275_790.3, abs=0.1) and stored["orifice_nm"] == 1_981_200


def test_the_figures(api: Api, made: dict[str, Any]) -> None:
    found = estimates(api, learned="12 mL")
    values = {code: (one["value"]["us"], one["value"]["metric"]) for code, one in found.items()}
    assert values == {
        "excess_volume": ("0.371 in³", "6.08 mL"),
        "excess_time": ("117 ms", "117 ms"),
        "stroke_volume": ("1.144 in³", "18.75 mL"),
        "stroke_pressure": ("27.7 psi", "191 kPa"),
        "holding_torque": ("286 lb·ft", "388 N·m"),
        "wear_left": ("−0.0014 in", "−0.036 mm"),
        "piston_stroke": ("0.0474 in", "1.203 mm"),
        "hot_gap": ("0.0748 in", "1.899 mm"),
    }
    assert "23.9 psi" in found["stroke_pressure"]["note"] and "301 lb·ft" in found["holding_torque"]["note"]
    assert "0.0008 in" in found["hot_gap"]["note"]
    # The low end of the handbook range, C_d 0.61: 117 · 0.65 / 0.61 = 125 ms.
    assert "125 ms" in found["excess_time"]["note"]


def test_each_says_formula_assumptions_and_label(api: Api, made: dict[str, Any]) -> None:
    for one in estimates(api, learned="12 mL").values():
        assert one["label"] == "estimate, warm oil" and one["title"] and one["formula"] and one["assumptions"]
        assert not one["refused"] and one["u"] == ""


def test_the_readme_tells_each_formula(api: Api, made: dict[str, Any]) -> None:
    for one in estimates(api, learned="12 mL").values():
        assert f"| {one['title']} | {one['formula']}" in README


def test_the_uncertainty_of_the_clearance_goes_through(api: Api, made: dict[str, Any]) -> None:
    """By plain geometry: 15.46 in² · 0.0015 in = 0.0232 in³, 0.38 mL."""
    found = estimates(api, u="0.0015 in")
    assert found["excess_volume"]["u"] == found["stroke_volume"]["u"] == "± 0.023 in³ (0.38 mL)"
    assert found["hot_gap"]["u"] == "± 0.0015 in (0.038 mm)"
    assert found["wear_left"]["u"] == "± 0.0002 in (0.004 mm)"  # over ten faces: 0.00015 in


def test_below_the_target_it_takes_less(api: Api, made: dict[str, Any]) -> None:
    found = estimates(api, "0.045 in")
    assert found["excess_volume"]["value"]["metric"] == "−1.27 mL"
    assert found["excess_time"]["value"]["us"] == "−24 ms"
    assert found["wear_left"]["value"]["us"] == "0.0015 in"


@pytest.mark.parametrize(
    ("known", "codes"),
    [
        ({}, {"wear_left"}),
        ({"piston_outer": "5.5 in"}, {"wear_left"}),
        ({"orifice": "0.078 in", "pressure": "40 psi"}, {"wear_left"}),
        ({"piston_outer": "5.5 in", "piston_inner": "0 in"}, {"wear_left", "excess_volume", "stroke_volume"}),
        ({"drum": "steel", "stack": "25 mm", "warmer": "70 K"}, {"wear_left", "hot_gap"}),
    ],
)
def test_each_appears_when_what_it_needs_is_known(
    api: Api, body: dict[str, Any], known: dict[str, str], codes: set[str]
) -> None:
    assert api.post("specs/", {**body, "hydraulics": known}).status == 201
    assert set(estimates(api)) == codes


def test_a_drum_of_steel_leaves_the_gap_as_it_is(api: Api, body: dict[str, Any]) -> None:
    api.post("specs/", {**body, "hydraulics": {"drum": "steel", "stack": "25 mm", "warmer": "70 K"}})
    assert estimates(api)["hot_gap"]["value"]["us"] == "0.0740 in"


def test_without_hydraulics_wear_is_all_there_is(api: Api, body: dict[str, Any]) -> None:
    assert api.post("specs/", body).body["hydraulics"] is None
    assert set(estimates(api, learned="12 mL")) == {"wear_left"}


def test_wear_is_left_up_to_the_outer_limit(api: Api, body: dict[str, Any]) -> None:
    """Ten faces share 0.100 - 0.074 in."""
    api.post("specs/", {**body, "limit_high": "0.100 in"})
    assert estimates(api)["wear_left"]["value"]["us"] == "0.0026 in"


def test_a_height_wears_down_to_its_low_limit(api: Api, body: dict[str, Any]) -> None:
    """Ten faces share 38.2 - 37.8 mm: 0.040 mm each."""
    window = {"source": "manual", "low": "37.8 mm", "high": "38.4 mm", "reference": "Invented, p. 1"}
    assert api.post("specs/", {**body, "measures": "height", "window": window}).status == 201
    assert estimates(api, "38.2 mm")["wear_left"]["value"]["metric"] == "0.040 mm"
    refused = api.post("specs/", {**body, "code": "H2", "measures": "height", "window": window, "hydraulics": KNOWN})
    assert (refused.status, refused.code, refused.body["errors"][0]["pointer"]) == (422, "bad_figures", "/hydraulics")


def test_cold_oil_is_refused_with_its_reason_in_place(api: Api, body: dict[str, Any]) -> None:
    api.post("specs/", {**body, "hydraulics": {**KNOWN, "viscosity": "1400 mm2/s"}})
    found = estimates(api)
    assert found["excess_time"]["value"] is None
    assert "too cold and thick" in found["excess_time"]["refused"] and "Reynolds" in found["excess_time"]["refused"]
    assert found["excess_volume"]["value"] is not None  # geometry does not ask how warm the oil is


def test_no_test_air_is_proposed(api: Api, made: dict[str, Any]) -> None:
    """Test air only at the manual's figure: common practice, no source. Stroke pressure is that of oil."""
    said = str(estimates(api, learned="12 mL")).lower()
    assert "test" not in said and "blow" not in said and "compressed" not in said


def misprinted(**more: str) -> dict[str, Any]:
    return {**KNOWN, "apply_pressure": {"value": "550 kPa", "also": "111 psi", **more}}


def test_a_misprinted_pair_of_pressures_waits_for_a_person(api: Api, body: dict[str, Any]) -> None:
    """One manual prints 550 kPa as 111 psi (true 79.8; S, C)."""
    refused = api.post("specs/", {**body, "hydraulics": misprinted()})
    assert (refused.status, refused.code) == (422, "units_disagree")
    assert refused.body["errors"][0]["pointer"] == "/hydraulics/apply_pressure/governs"
    assert "79.8 psi" in refused.body["detail"]
    assert not Spec.objects.exists()
    made = api.post("specs/", {**body, "hydraulics": misprinted(governs="kPa")})
    assert made.status == 201
    assert Spec.objects.get().hydraulics["apply_pressure_pa"] == 550_000
    assert made.body["hydraulics"]["apply_pressure"] == {"value": "550 kPa", "also": "111 psi", "governs": "kPa"}
    other = api.post("specs/", {**body, "code": "P2", "hydraulics": misprinted(governs="psi")})
    assert other.status == 201
    assert Spec.objects.get(code="P2").hydraulics["apply_pressure_pa"] == pytest.approx(765_318, abs=1)


def test_two_units_that_agree_ask_nobody(api: Api, body: dict[str, Any]) -> None:
    pair = {"value": "550 kPa", "also": "79.8 psi"}
    assert api.post("specs/", {**body, "hydraulics": {**KNOWN, "pressure": pair}}).status == 201


@pytest.mark.parametrize(
    ("more", "status", "pointer"),
    [
        ({"pressure": "40"}, 400, "/hydraulics/pressure"),
        ({"pressure": 40}, 400, "/hydraulics/pressure"),
        ({"pressure": "40 lbf"}, 400, "/hydraulics/pressure"),
        ({"pressure": "0 psi"}, 422, "/hydraulics/pressure"),
        ({"pressure": {"also": "40 psi"}}, 400, "/hydraulics/pressure/value"),
        ({"pressure": {"value": "40 psi", "wrong": "x"}}, 400, "/hydraulics/pressure/wrong"),
        ({"pressure": {"value": "40 psi", "also": "41 psi"}}, 422, "/hydraulics/pressure/also"),
        ({"pressure": {"value": "40 psi", "governs": "psi"}}, 422, "/hydraulics/pressure/governs"),
        ({"pressure": {"value": "40 psi", "also": "276 kPa", "governs": "bar"}}, 422, "/hydraulics/pressure/governs"),
        ({"piston_inner": "6 in"}, 422, "/hydraulics/piston_inner"),
        ({"face_inner": "5.2 in"}, 422, "/hydraulics/face_inner"),
        ({"orifice": "0 in"}, 400, "/hydraulics/orifice"),
        ({"orifice": ".078"}, 400, "/hydraulics/orifice"),
        ({"friction": "1.3"}, 400, "/hydraulics/friction"),
        ({"friction": "0"}, 422, "/hydraulics/friction"),
        ({"discharge": "0"}, 422, "/hydraulics/discharge"),
        ({"density": "0 kg/m3"}, 422, "/hydraulics/density"),
        ({"viscosity": "0 cSt"}, 422, "/hydraulics/viscosity"),
        ({"warmer": "70"}, 400, "/hydraulics/warmer"),
        ({"drum": "wood"}, 400, "/hydraulics/drum"),
        ({"test_air": "30 psi"}, 400, "/hydraulics/test_air"),
    ],
)
def test_what_cannot_be_is_refused_with_a_pointer(
    api: Api, body: dict[str, Any], more: dict[str, Any], status: int, pointer: str
) -> None:
    reply = api.post("specs/", {**body, "hydraulics": {**KNOWN, **more}})
    assert (reply.status, [error["pointer"] for error in reply.body["errors"]]) == (status, [pointer])
    assert not Spec.objects.exists()


@pytest.mark.parametrize("hydraulics", ["x", 1, [], [KNOWN]])
def test_hydraulics_are_an_object(api: Api, body: dict[str, Any], hydraulics: Any) -> None:
    assert api.post("specs/", {**body, "hydraulics": hydraulics}).status == 400


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ({}, "/clearance"),
        ({"clearance": "0.074"}, "/clearance"),
        ({"clearance": "0 in"}, "/clearance"),
        ({"clearance": "0.074 in", "learned": "12"}, "/learned"),
        ({"clearance": "0.074 in", "learned": "0 mL"}, "/learned"),
        ({"clearance": "0.074 in", "u": "0.001"}, "/u"),
        ({"clearance": "0.074 in", "oil": "cold"}, "/oil"),
    ],
)
def test_a_question_that_cannot_be_read(api: Api, made: dict[str, Any], query: dict[str, str], pointer: str) -> None:
    reply: Reply = api.get("specs/PACK/estimates/", **query)
    assert (reply.status, reply.body["errors"][0]["pointer"]) == (400, pointer)


def test_another_shop_sees_nothing_of_it(api: Api, made: dict[str, Any]) -> None:
    stranger = Api(PersonFactory.create())
    assert stranger.get("specs/PACK/estimates/", clearance="0.074 in").status == 404


def test_more_slots_take_no_more_queries(api: Api, made: dict[str, Any], body: dict[str, Any]) -> None:
    slots = [{**slot, "name": f"{slot['name']} {row}"} for row in range(6) for slot in body["slots"]]
    api.post("specs/", {**body, "code": "LONG", "slots": slots, "hydraulics": KNOWN})
    counts = []
    for code in ("PACK", "LONG"):
        with CaptureQueriesContext(connection) as captured:
            page = api.get(f"specs/{code}/estimates/", clearance="0.074 in", page_size="3").body
        assert (page["count"], len(page["results"]), page["previous"]) == (7, 3, None) and "page=2" in page["next"]
        counts.append(len(captured))
    assert counts == [5, 5]  # token, spec, slots, their fits, further fits
