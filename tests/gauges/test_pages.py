"""The gauges at the counter."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.measuring.models import GaugeCheck, GaugeStudy
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory
from tests.gauges.test_api import GOOD, HIGH
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db


@pytest.fixture
def counter(owner: Person) -> Counter:
    return Counter(owner)


@pytest.fixture
def mic(api: Api) -> str:
    api.post("gauges/", {"code": "MIC-1", "type": "micrometer"})
    return "/gauges/MIC-1/"


def test_a_gauge_is_added_and_listed(counter: Counter) -> None:
    assert "No gauge is registered yet" in counter.open("/gauges/")
    counter.open("/add/gauge/")
    assert "micrometer 0.0002 in (0.004 mm), 90 days" in counter.text
    counter.send("", {"code": "MIC-1", "type": "micrometer"}, nth=0)
    assert counter.path == "/gauges/MIC-1/" and "never checked" in counter.text
    listed = counter.open("/gauges/")
    assert "MIC-1" in listed and "at once" in listed
    counter.open("/add/gauge/")
    assert "with this code is there already" in counter.send("", {"code": "MIC-1", "type": "depth"}, nth=0)


def test_a_good_check_is_booked_at_once(counter: Counter, mic: str) -> None:
    counter.open(mic)
    counter.send("/check/", {"standard": "25 mm", "reading": "25.001mm 25.000mm"})
    assert counter.path == mic and "State: good, due" in counter.text
    check = GaugeCheck.objects.get()
    assert (check.passed, check.error_nm, check.readings) == (True, 500, ["25.001mm", "25.000mm"])
    assert "1 check, 0 outside the limit of error +0.16 thou" in counter.html


@pytest.mark.parametrize(
    ("then", "zero_nm", "state"), [("zeroed", 0, "failed"), ("in_force", 7620, "good"), ("", 0, "failed")]
)
def test_a_failed_check_asks_what_was_done(counter: Counter, mic: str, then: str, zero_nm: int, state: str) -> None:
    counter.open(mic)
    said = counter.send("/check/", {"standard": "1 in", "reading": "1.0003 in"})
    assert "MIC-1 is 0.0003 in (0.008 mm) high" in said and not GaugeCheck.objects.exists()
    counter.send("/check/", {"then": then})
    check = GaugeCheck.objects.get()
    assert (check.passed, check.zero_after_nm) == (False, zero_nm)
    assert f"State: {state}" in counter.text


def test_a_feeler_has_no_zero_to_take_off(api: Api, counter: Counter) -> None:
    api.post("gauges/", {"code": "F-1", "type": "feeler"})
    assert "A blade has no zero" in counter.open("/gauges/F-1/")
    said = counter.send("/check/", {"standard": "0.010 in", "reading": "0.012 in"})
    assert "What did you do with it" in said and "Work on" not in said
    assert "Replaced the blade" in said and "Set to zero" not in said


def test_a_slip_of_the_unit_is_asked_back(counter: Counter, mic: str) -> None:
    counter.open(mic)
    counter.send("/check/", {"standard": "1 in", "reading": "1.0 mm"})
    said = counter.send("/check/", {"then": ""})
    assert "another unit, or another block" in said and not GaugeCheck.objects.exists()
    counter.send("/check/", {})
    assert GaugeCheck.objects.get().passed is False


def test_one_button_puts_right_what_was_read_with_it(api: Api, owner: Person, counter: Counter, mic: str) -> None:
    fit = FitFactory.create(shop=owner.shop)
    BinFactory.create(fit=fit, code="B-14")
    kind = KindFactory.create(fit=fit, code="STEEL-77")
    for text in ("0.0771 in", "0.0766 in"):
        api.post("plates/", {"kind": kind.code, "readings": [text], "gauge": "MIC-1"})
    api.post("gauges/MIC-1/checks/", HIGH)
    assert "2 plates still stand as read with it" in counter.open(mic)
    counter.send("/correct/")
    assert counter.path.startswith("/gauges/MIC-1/corrected/")
    assert "2 plates corrected" in counter.text and "no bin, move it" in counter.text and "B-14" in counter.text
    assert "still stand" not in counter.open(mic) and "plates corrected" in counter.text


def test_a_gauge_goes_out_of_use_and_comes_back(counter: Counter, mic: str) -> None:
    counter.open(mic)
    assert "Fill this in" in counter.send("/withdraw/", {"reason": ""})
    assert "withdrawn: dropped" in counter.send("/withdraw/", {"reason": "dropped"})
    assert "State: never checked" in counter.send("/return/")


def test_the_buyer_looks_on(owner: Person, mic: str, api: Api) -> None:
    api.post("gauges/MIC-1/checks/", GOOD)
    buyer = Counter(PersonFactory.create(shop=owner.shop, role="buyer"))
    said = buyer.open(mic)
    assert "gauges is for" in said and "What its checks found" in said and "Check it against" not in said
    assert "gauges is for" in buyer.open("/add/gauge/") and "gauges is for" in buyer.open(f"{mic}study/")


def test_a_study_one_enter_at_a_time(counter: Counter, mic: str) -> None:
    counter.open(f"{mic}study/")
    assert "Give 2 to 6 different names" in counter.send("", {"people": "rosa", "plates": "2", "trials": "2"}, nth=0)
    counter.send("", {"people": "rosa, imre", "plates": "2", "trials": "2"}, nth=0)
    assert "Next: rosa, trial 1, plate 1. 8 to read." in counter.text
    readings = iter(["77.1", "78.2", "77.0", "78.1", "77.2", "78.2", "77.1", "1.100-1.0218"])
    for person in range(2):
        for trial in range(2):
            for plate in range(2):
                typed = next(readings)
                typed = typed if "-" in typed else f"{typed} thou"
                counter.send("/study/", {f"r{person}-{trial}-{plate}": typed})
    assert "All read" in counter.text and not GaugeStudy.objects.exists()
    counter.send("/study/", {"finish": "1"})
    study = GaugeStudy.objects.get()
    assert (study.people, study.plates, study.trials) == (["rosa", "imre"], ["1", "2"], 2)
    assert study.readings[0][0] == ["77.1 thou", "78.2 thou"]
    assert counter.path == f"/gauge-studies/{study.pk}/" and "of the spread is the gauge" in counter.text
    assert "Average and range" in counter.text and "Analysis of variance" in counter.text
    assert "rosa, imre, 2 plates, 2 trials" in counter.open(mic)


def test_a_study_stays_at_what_cannot_be_read(counter: Counter, mic: str) -> None:
    counter.open(f"{mic}study/")
    counter.send("", {"people": "a, b", "plates": "2", "trials": "2"}, nth=0)
    said = counter.send("/study/", {"r0-0-1": "thin", "finish": "1"})
    assert "a, trial 1, plate 2:" in said and "is not a reading" in said
    assert 'name="r0-0-1" value="thin"' in counter.html and not GaugeStudy.objects.exists()


@pytest.mark.parametrize(
    "path", ["/gauges/NONE/", "/gauges/NONE/study/", "/gauge-studies/x/", "/gauges/MIC-1/corrected/"]
)
def test_what_is_not_there(counter: Counter, mic: str, path: str) -> None:
    counter.open(path)
    assert counter.status == 404


@pytest.mark.parametrize("path", ["/gauges/", "/gauges/MIC-1/"])
def test_twice_the_rows_cost_no_more_queries(
    api: Api, owner: Person, counter: Counter, mic: str, path: str
) -> None:
    kind = KindFactory.create(fit=FitFactory.create(shop=owner.shop))
    counts = []
    for round_ in range(3):
        for row in range(3):
            api.post("gauges/", {"code": f"G{round_}{row}", "type": "depth"})
            api.post("plates/", {"kind": kind.code, "readings": ["0.0771 in"], "gauge": "MIC-1"})
        api.post("gauges/MIC-1/checks/", HIGH)
        with CaptureQueriesContext(connection) as captured:
            counter.open(path)
        counts.append(len(captured))
    assert len(set(counts[1:])) == 1 and counts[-1] <= 9
