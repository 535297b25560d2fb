"""The slip at the counter: readings tick plates off, a wrong one has three ways out, what came out has five fates."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.bench.models import Match
from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory, PersonFactory, shelve
from tests.pages.conftest import Bench
from tests.pages.counter import Counter
from tests.pages.test_close_a_pack import AT, read
from tests.shelves import question

pytestmark = pytest.mark.django_db
SLIP = "/matches/1/slip/"


@pytest.fixture
def slip(counter: Counter, bench: Bench) -> Counter:
    """Three of .0771, .0771, .0768 are taken for .0698, .0699 and .0700."""
    BinFactory.create(
        fit=bench.kind.fit, code="B-13", from_nm=length_parse("0.0690 in"), to_nm=length_parse("0.0765 in")
    )
    counter.open(AT)
    read(counter).send("/matches/1/take/")
    counter.open(SLIP)
    return counter


def test_each_reading_ticks_off_its_row(slip: Counter) -> None:
    assert "3 to go" in slip.text and slip.html.count("○") == 3
    assert slip.html.count("autofocus") == 1
    text = slip.send("/pull-check/", {"reading": ".0769"})
    assert slip.path.startswith(SLIP)
    assert "2 to go" in text and "read .0769 [in]" in text
    assert [row["thickness_nm"] for row in Match.objects.get().slip if row.get("pulled")] == [length_parse("0.0769 in")]
    for reading in (".0772 .0772", ".0771"):
        text = slip.send("/pull-check/", {"reading": reading})
    assert "All were read" in text and slip.html.count("✓") == 3
    pulled = LedgerLine.objects.filter(act="pulled").order_by("at")
    assert [line.readings for line in pulled] == [[".0769 [in]"], [".0772 [in]", ".0772 [in]"], [".0771 [in]"]]
    # .0740 + .0698 + .0699 + .0700 - .0769 - .0772 - .0771
    assert "Predicted Clearance 0.0525 in" in text
    assert slip.html.count("autofocus") == 1  # now on what came out


def test_the_gauge_stays_from_one_reading_to_the_next(slip: Counter) -> None:
    text = slip.send("/pull-check/", {"reading": ".0771", "gauge": "M-1"})
    assert "No gauge M-1 is registered" in text
    slip.send("/pull-check/", {"reading": ".0771"})
    assert set(LedgerLine.objects.filter(act="pulled").values_list("gauge", flat=True)) == {"M-1"}


def test_what_is_not_a_reading_is_said_beside_its_field(slip: Counter) -> None:
    assert "is not a reading" in slip.send("/pull-check/", {"reading": "thick"})
    assert not LedgerLine.objects.filter(act="pulled").exists()


def test_enter_on_the_blank_field_goes_on_unread_but_not_midway(slip: Counter) -> None:
    slip.send("/pull-check/", {"reading": " "})
    assert slip.path.startswith("/matches/1/#check")
    slip.open(SLIP)
    slip.send("/pull-check/", {"reading": ".0771"})
    assert "Nothing was read" in slip.send("/pull-check/", {"reading": ""})


def test_a_form_sent_twice_counts_once(slip: Counter) -> None:
    form = slip.form("/pull-check/")
    for _ in range(2):
        slip.post(form["action"], {**form["fields"], "reading": ".0771"})
    assert LedgerLine.objects.filter(act="pulled").count() == 1
    assert "Nothing was done twice" in slip.post(form["action"], {**form["fields"], "reading": ".0768"})


@pytest.fixture
def wrong(slip: Counter) -> Counter:
    text = slip.send("/pull-check/", {"reading": ".0790"})
    assert "0.0790 in (2.007 mm) is not it" in text
    assert "Read again, it or the one next to it" in text
    return slip


def test_a_wrong_one_is_kept_as_it_was_read(wrong: Counter) -> None:
    text = wrong.send("/pull-check/", {}, nth=0)
    assert "misfiled" in LedgerLine.objects.get(act="corrected").reason
    assert "read .0790 [in]" in text and "2 to go" in text


def test_a_wrong_one_goes_into_its_bin_and_the_pack_is_asked_again(slip: Counter) -> None:
    slip.send("/pull-check/", {"reading": ".0738"})
    text = slip.send("/pull-check/", {}, nth=1)
    assert "goes into bin B-13" in text and "see the fresh options" in text
    assert Match.objects.get().state == "open"
    assert Plate.objects.filter(state="on_shelf").count() == 3
    assert "PACK is loose" in slip.open("/matches/1/")


def test_what_no_plate_can_be_is_asked_once_more(slip: Counter) -> None:
    slip.send("/pull-check/", {"reading": ".0920"})
    text = slip.send("/pull-check/", {}, nth=0)
    assert "cannot be" in text
    slip.send("/pull-check/", {}, nth=0)
    assert LedgerLine.objects.get(act="corrected").thickness_nm == length_parse("0.092 in")


# --- what came out ---------------------------------------------------------------------------------------------


def fate(counter: Counter, fate: str, **typed: str) -> str:
    return counter.send("/outs/", {"fate": fate, **typed})


def test_each_that_came_out_has_five_fates_of_one_key(slip: Counter) -> None:
    for letter, word in zip("sjpxc", ("Shelf", "Job", "Pack", "Scrap", "Customer"), strict=True):
        assert f"{word} {letter.upper()}" in slip.text
        assert slip.html.count(f'accesskey="{letter}"') == 1
    text = fate(slip, "shelf")
    assert "goes into bin B-13" in text and "to the shelf, B-13" in text
    text = fate(slip, "job")
    assert "stays with the job" in text
    text = fate(slip, "pack", to_job="J-9")
    assert "into another pack, job J-9" in text
    assert [one["fate"] for one in Match.objects.get().outs] == ["shelf", "job", "pack"]
    assert 'name="fate"' not in slip.html


def test_where_the_kind_is_not_known_the_form_asks_for_it(slip: Counter, bench: Bench) -> None:
    """.0698 is too far under .0770 even for a worn one, where a new one may be .0010 off."""
    bench.kind.tolerance_nm = length_parse("0.001 in")
    bench.kind.save()
    text = fate(slip, "shelf")
    assert "of no kind that the slot takes" in text and "STEEL-77" in text
    assert "<details open>" in slip.html
    assert "is not within" in fate(slip, "shelf", kind="STEEL-77")
    assert "goes into bin" in fate(slip, "shelf", kind="STEEL-77", confirm="on")


def field(counter: Counter, name: str) -> str:
    """The input of this name in the form of a plate that came out, on the page of a refusal: there is one open."""
    (form,) = re.findall(r"(?s)<details open>.*?</details>", counter.html)
    (found,) = re.findall(rf'<input[^>]*name="{name}"[^>]*>', form)
    return str(found)


def test_what_nobody_read_has_its_reading_field_open_and_in_focus(counter: Counter, bench: Bench) -> None:
    api = Api(bench.owner)
    shelve(bench.owner, bench.kind, "0.0870 in")
    ask = question("0.0640 in", {"steels": {"nominal": True}}, take=True, accept_marginal=True)
    assert api.post("matches/", ask).body["state"] == "taken"
    counter.open(SLIP)
    text = fate(counter, "shelf")
    assert "was never read" in text
    assert "autofocus" in field(counter, "reading") and counter.html.count("autofocus") == 1
    assert "to the shelf, B-14" in fate(counter, "shelf", reading=".0768")


def test_a_job_with_a_fate_that_takes_none_is_refused_beside_its_field(slip: Counter) -> None:
    assert "is the job of another pack" in fate(slip, "scrap", to_job="J-9")
    assert "autofocus" in field(slip, "to_job") and 'value="J-9"' in field(slip, "to_job")
    assert Match.objects.get().outs == []


def test_what_has_its_fate_by_now_is_said_though_its_row_is_gone(slip: Counter) -> None:
    form = slip.form("/outs/")
    fate(slip, "job")
    text = slip.post(form["action"], {**form["fields"], "fate": "scrap", "key": "another-key"})
    assert "is not among what came out" in text
    assert [one["fate"] for one in Match.objects.get().outs] == ["job"]


def test_the_page_asks_the_same_however_many_came_out(slip: Counter, owner: Person) -> None:
    owner.shop.second_person = True
    owner.shop.save()
    counts = []
    for left in (3, 2, 1):
        with CaptureQueriesContext(connection) as captured:
            slip.open(SLIP)
        assert slip.html.count("data-fates") == left
        counts.append(len(captured))
        fate(slip, "job")
    assert len(set(counts)) == 1


def test_the_slip_says_a_caution_of_the_pull_once(slip: Counter) -> None:
    slip.send("/pull-check/", {"reading": ".0690"})
    slip.send("/pull-check/", {}, nth=0)
    (said,) = [one["text"] for one in Match.objects.get().cautions if one["code"].startswith("pulled")]
    assert slip.text.count(said) == 1
    assert all(slip.text.count(one["text"]) == 1 for one in Match.objects.get().cautions)


def test_one_that_is_set_aside_says_so_in_huge_type(slip: Counter) -> None:
    text = fate(slip, "shelf", kind="STEEL-77", confirm="on", hot_spot="on")
    assert "Quarantine" in text and "hot spot" in text


def test_a_bin_or_fate_that_is_not_there(slip: Counter) -> None:
    assert "There is no bin" in fate(slip, "shelf", bin="B-99")
    fate(slip, "lost")
    assert Match.objects.get().outs == []


def test_a_closed_match_still_tells_what_came_out(slip: Counter) -> None:
    slip.open("/matches/1/")
    slip.send("/final/", {"reading": "53 53", "go": "next"})
    slip.send("/final/")
    assert Match.objects.get().state == "closed"
    text = slip.open(SLIP)
    assert "Out of the pack" in text and "to go" not in text
    assert "to scrap" in fate(slip, "scrap")


def test_a_buyer_reads_the_slip_and_changes_nothing(slip: Counter, owner: Person) -> None:
    buyer = Counter(PersonFactory.create(shop=owner.shop, role="buyer"))
    assert "matches is for" in buyer.open(SLIP)
    assert 'name="fate"' not in buyer.html and 'name="reading"' not in buyer.html
    for path in ("/matches/1/pull-check/", "/matches/1/outs/"):
        buyer.open(path)
        assert buyer.path == SLIP


def test_another_shops_slip_is_not_there(slip: Counter) -> None:
    stranger = Counter(PersonFactory.create())
    for path in (SLIP, "/matches/1/pull-check/"):
        stranger.open(path)
        assert stranger.status in (200, 404)
    assert stranger.client.post("/matches/1/pull-check/", {"reading": "77"}).status_code == 404
    assert stranger.client.post("/matches/1/outs/", {"fate": "job"}).status_code == 404
