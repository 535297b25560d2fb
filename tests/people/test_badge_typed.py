"""A badge is scanned into whatever has the focus: what it says is kept in no row and comes into no address."""

import pytest
from django.contrib.sessions.models import Session

from plates.bench.models import Match
from plates.stock.models import Bin
from shop.people.models import Person
from tests.pages.conftest import Bench
from tests.pages.conftest import bench as bench
from tests.pages.counter import Counter
from tests.people.conftest import Badged
from tests.people.conftest import ines as ines

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("name", ["gauge", "box", "owner"])
def test_what_stays_in_a_batch_holds_no_badge(owner: Person, bench: Bench, ines: Badged, name: str) -> None:
    counter = Counter(owner)
    counter.open("/scan-in/kind/STEEL-77/")
    form = {**counter.form("/scan-in/kind/STEEL-77/")["fields"], "reading": "", name: f" {ines.badge.lower()} "}
    answer = counter.client.post("/scan-in/kind/STEEL-77/", form)
    assert answer.status_code == 200 and "This is a badge" in answer.content.decode()
    answer = counter.client.post("/scan-in/kind/STEEL-77/", {**form, name: "G-1"})
    assert f"{name}=G-1" in answer.headers["Location"]


def test_no_job_and_no_bin_is_called_by_one(owner: Person, bench: Bench, ines: Badged) -> None:
    counter = Counter(owner)
    counter.open("/add/bin/")
    assert "This is a badge" in counter.send("", {"code": ines.badge, "role": "steel", "from_": "0", "to": "0.1 in"})
    assert not Bin.objects.filter(code=ines.badge).exists()
    read = {"reading-kept": ["0.0640 in"] * 3, "method": "feeler"}
    said = counter.post("/close-a-pack/PACK/", {"at": "job", "job": ines.badge, "go": "ask", "key": "12345678", **read})
    assert "This is a badge" in said and not Match.objects.exists()
    counter.post("/close-a-pack/PACK/", {"at": "job", "job": "J-7", "go": "ask", "key": "12345678", **read})
    assert Match.objects.exists()


def test_a_form_that_waits_at_the_door_holds_none(ines: Badged) -> None:
    Counter().client.post("/bins/A-1/hand-out/", {"to": ines.badge.lower(), "count": "2t"})
    waits = str([one.get_decoded() for one in Session.objects.all()])
    assert "2t" in waits and ines.badge.lower() not in waits
