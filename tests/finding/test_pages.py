"""Where *Find* leads: what of a bin is promised, the file of a job, what somebody did, where plates of a kind lie."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plates.bench.models import Match
from plates.scan_codes import scan_format
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from tests.api import Api
from tests.finding.conftest import asked, done
from tests.pages.counter import Counter
from tests.shelves import Shelf

pytestmark = pytest.mark.django_db


def pages(counter: Counter, path: str) -> str:
    text = counter.open(path)
    assert counter.status == 200
    return text


def test_a_scanned_bin_says_what_is_promised(counter: Counter, rosa: Api) -> None:
    held = done(rosa, "1182", "hold")
    until = timezone.localtime(Match.objects.get(number=held["number"]).held_until)
    Plate.objects.filter(state="held").update(held_until=until)
    text = counter.open("/find/", q=scan_format("bin", "B-14"))
    today = until.date() == timezone.localdate()
    till = f"{until:%H:%M}" if today else f"{until.day} {until:%B}, {until:%H:%M}"
    assert f"3 here, 2 promised: job 1182, rosa, till {till}" in text


def test_each_hold_of_a_bin_is_told_with_its_count(counter: Counter, shelf: Shelf, rosa: Api) -> None:
    done(rosa, "A-1", "hold")
    shelf.stock("0.0870 in", "0.0870 in")
    done(rosa, "A-2", "hold")
    text = pages(counter, "/bins/B-14/")
    assert "5 here, 4 promised:" in text and "2 for job A-1, rosa" in text and "2 for job A-2, rosa" in text


def test_a_hold_that_ran_out_or_was_given_back_promises_nothing(counter: Counter, rosa: Api) -> None:
    assert "3 here, none promised" in pages(counter, "/bins/B-14/")
    held = done(rosa, "1182", "hold")
    assert "2 promised" in pages(counter, "/bins/B-14/")
    Plate.objects.filter(state="held").update(held_until=timezone.now() - timedelta(seconds=1))
    assert "3 here, none promised" in pages(counter, "/bins/B-14/")
    Plate.objects.filter(state="held").update(held_until=timezone.now() + timedelta(hours=1))
    rosa.post(f"matches/{held['id']}/release/", {})
    assert "3 here, none promised" in pages(counter, "/bins/B-14/")


def test_the_file_of_a_job_tells_every_pack(counter: Counter, rosa: Api, shelf: Shelf) -> None:
    taken = done(rosa, "1182", "take")
    (out, _) = taken["outs"]
    fate = {"slot": "steels", "thickness": f"{out['thickness']['in']} in", "fate": "scrap"}
    assert rosa.post(f"matches/{taken['id']}/outs/", {"outs": [fate]}).status == 200
    final = {"readings": ["0.069 in"] * 3, "method": "feeler"}
    assert rosa.post(f"matches/{taken['id']}/final/", final).status == 200
    asked(rosa, "1182")
    asked(rosa, "OTHER")
    text = pages(counter, "/jobs/1182/")
    assert "2 packs asked" in text and "Match 1: PACK" in text and "Match 2: PACK" in text and "Match 3" not in text
    assert "Before0.0890 in" in text and "0.089 in, 0.089 in, 0.089 in" in text and "After0.0690 in" in text
    assert "Into the pack" in text and text.count("STEEL-87B-14") == 2
    assert "to scrap rosa" in text and "nobody has said yet" in text
    assert re.search("2 plates taken ?rosa", text) and re.search("measured after assembly ?rosa", text)
    assert "not measured after assembly" in text and "Old lining dust may hold asbestos" in text
    assert "data-print" in counter.html


def test_the_file_of_a_job_tells_its_holds(counter: Counter, rosa: Api) -> None:
    held = done(rosa, "1182", "hold")
    assert re.search(r"2 plates held until [0-9 :-]+rosa", pages(counter, "/jobs/1182/"))
    rosa.post(f"matches/{held['id']}/release/", {})
    assert re.search("2 plates given back to the shelf ?rosa", pages(counter, "/jobs/1182/"))


def test_a_job_unknown_is_not_there(counter: Counter) -> None:
    counter.open("/jobs/NOPE/")
    assert counter.status == 404


def test_a_person_page_tells_what_they_did_of_late(counter: Counter, rosa: Api) -> None:
    done(rosa, "1182", "take")
    text = pages(counter, "/people/rosa/")
    assert "rosa, bench" in text and "1PACK1182" in text.replace(" ", "")
    assert text.count("taken") >= 2 and "job 1182" in text and "received" not in text
    assert "No plate was moved by" not in text


def test_a_hold_that_ran_out_is_nobodys_doing(counter: Counter, rosa: Api) -> None:
    done(rosa, "A-1", "hold")
    past = timezone.now() - timedelta(seconds=1)
    Plate.objects.filter(state="held").update(held_until=past)
    Match.objects.filter(state="held").update(held_until=past)
    asked(rosa, "A-2")
    assert LedgerLine.objects.filter(act="ran_out", person__username="rosa").count() == 2
    assert "ran out" not in pages(counter, "/people/rosa/")
    pages(counter, "/jobs/A-1/")
    assert '2 plates free again, the hold ran out</td><td data-label="Who"></td>' in counter.html


def test_a_kind_tells_where_its_plates_lie(counter: Counter, rosa: Api) -> None:
    done(rosa, "1182", "hold")
    text = pages(counter, "/kinds/STEEL-87/")
    assert "Maker's barcode 5901234123457" in text
    assert re.search(r'>B-14</a>.*?<b>3</b></td><td data-label="Promised">2</td>', counter.html)


def test_the_life_of_a_plate_leads_to_its_people_and_jobs(counter: Counter, rosa: Api) -> None:
    done(rosa, "1182", "take")
    pages(counter, f"/plates/{Plate.objects.filter(state='taken')[0].pk}/")
    for to in ("/people/rosa/", "/jobs/1182/", "/matches/1/", "/bins/B-14/"):
        assert f'href="{to}"' in counter.html


@pytest.mark.parametrize("path", ["/bins/B-14/", "/jobs/1182/", "/people/rosa/", "/kinds/STEEL-87/"])
def test_twice_the_rows_cost_no_more_queries(counter: Counter, shelf: Shelf, rosa: Api, path: str) -> None:
    def more(job: str) -> None:
        shelf.stock("0.0870 in", "0.0870 in")
        done(rosa, job, "take")
        shelf.stock("0.0870 in", "0.0870 in")
        done(rosa, job, "hold")

    more("1182")
    with CaptureQueriesContext(connection) as few:
        pages(counter, path)
    for _ in range(2):
        more("1182")
        more("1183")
    with CaptureQueriesContext(connection) as many:
        pages(counter, path)
    assert len(many) == len(few) <= 10


BADGE = "ID-0123456789ABCDEFGHJK"


@pytest.mark.parametrize(
    "path",
    ["/find/?q={}", "/scan-in/?code={}", "/close-a-pack/?find={}", "/kinds/?find=x&find=%20{}", "/matches/?job={}"],
)
def test_a_badge_in_an_address_is_led_to_a_clean_one(counter: Counter, path: str) -> None:
    """In small letters, too, as a scanner sends them that meets caps lock."""
    for code in (BADGE, BADGE.lower()):
        answer = counter.client.get(path.format(code))
        assert (answer.status_code, answer.headers["Location"]) == (302, "/find/?badge")
    text = pages(counter, "/find/?badge")
    assert "looked up nowhere" in text and "Change person" in text
    assert counter.client.get("/find/?q=ID-0123").status_code == 200  # the beginning of a code of ours, say


def test_before_anybody_is_there_it_stands_in_no_way_back_either() -> None:
    answer = Client().get(f"/find/?q={BADGE}")
    assert answer.headers["Location"] == "/find/?badge"
    assert BADGE not in Client().get(f"/find/?q={BADGE}", follow=True).content.decode()
