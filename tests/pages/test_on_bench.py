"""What lies on the bench of a job is shown while its pack is asked, and where it went."""

import pytest

from tests.api import Api
from tests.factories import KindFactory, shelve
from tests.pages.conftest import Bench
from tests.pages.counter import Counter
from tests.shelves import question

pytestmark = pytest.mark.django_db
AT = "/close-a-pack/PACK/"
#: .0771 and .0768 must go, for two of .0790.
OLD = [{"thickness": text, "must_go": True} for text in ("0.0781 in", "0.0778 in")] + ["0.0770 in"] * 3


@pytest.fixture
def lying(bench: Bench) -> int:
    """The number of the match that gave two steels to another pack of J-1182."""
    api = Api(bench.owner)
    shelve(bench.owner, KindFactory.create(fit=bench.kind.fit, code="STEEL-80"), "0.0800 in", "0.0800 in")
    match = api.post("matches/", question("0.0560 in", OLD, job="J-1182", take=True, max_changes=2)).body
    outs = [{"slot": "steels", "thickness": text, "fate": "pack"} for text in ("0.0781 in", "0.0778 in")]
    assert api.post(f"matches/{match['id']}/outs/", {"outs": outs}).status == 200
    number: int = match["number"]
    return number


def said(number: int) -> str:
    return f"2 steels 0.0778 in (1.976 mm), 0.0781 in (1.984 mm) out of match {number}. Used when they help."


def test_it_is_told_once_the_job_is_known(counter: Counter, lying: int) -> None:
    counter.open(AT)
    assert "On the bench of job" not in counter.text
    counter.send(AT, {"reading": "74 74 74", "job": "J-1182", "go": "next"})
    assert f"On the bench of job J-1182: {said(lying)}" in counter.text
    assert f"On the bench of job J-1182: {said(lying)}" in counter.open("/on-the-bench/", job="J-1182")
    for other in ("J-1183", ""):
        assert "bench" not in counter.open("/on-the-bench/", job=other)


def test_taken_off_the_bench_it_is_on_the_slip_and_on_the_page_of_what_came_out(counter: Counter, lying: int) -> None:
    counter.open(AT)
    counter.send(AT, {"reading": "74 74 74", "slot1": ".0698 .0699 .0700 .0701 .0702", "job": "J-1182", "go": "ask"})
    taker = lying + 1
    assert counter.path == f"/matches/{taker}/"
    assert f"from what came out of match {lying}" in counter.text
    counter.send(f"/matches/{taker}/take/", {"option": "1"})
    assert f"from what came out of match {lying}" in counter.open(f"/matches/{taker}/slip/")
    assert f"used in match {taker}" in counter.open(f"/matches/{lying}/slip/")
