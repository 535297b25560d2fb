"""Who asked, took and measured a pack, and at which terminal."""

import re

import pytest

from plates.bench.models import FinalCheck, Match
from shop.people.models import Person
from shop.people.terminals import terminal_enrol
from tests.api import Api
from tests.pages.conftest import Bench
from tests.pages.conftest import bench as bench
from tests.pages.test_close_a_pack import read
from tests.people.conftest import At
from tests.shelves import question

pytestmark = pytest.mark.django_db

def test_each_entry_says_who_and_where(at: At, owner: Person, bench: Bench, api: Api) -> None:
    """Asked at one terminal, taken at another, measured at none."""
    bench_2 = at.counter(owner)
    bench_2.open("/close-a-pack/PACK/")
    read(bench_2)
    window = At(at.terminal, terminal_enrol(person=owner, code="window")).counter(owner)
    window.open("/matches/1/")
    window.send("/take/")
    match = Match.objects.select_related("terminal", "taken_terminal").get()
    assert match.terminal is not None and match.taken_terminal is not None
    assert (match.terminal.code, match.taken_terminal.code) == ("bench-2", "window")
    page = window.open("/matches/1/")
    assert f"asked by {owner.username} at bench-2 " in page and f"Taken by {owner.username} at window " in page
    assert f"Taken by {owner.username} at window " in window.open("/matches/1/slip/")

    final = {"readings": ["0.053 in"] * 2, "method": "feeler"}
    assert api.post(f"matches/{match.pk}/final/", final).status == 200
    assert FinalCheck.objects.get().terminal is None
    sheet = window.open("/matches/1/build-sheet/")
    assert f"Plates taken by {owner.username} at window, " in sheet
    assert re.search(rf"Before.*{owner.username} at bench-2, .*After.*{owner.username}, \d", sheet)
    job = window.open("/jobs/J-1182/")
    assert re.search(rf"asked{owner.username} at bench-2.*taken{owner.username} at window", job)
    assert re.search(rf"measured after assembly{owner.username}(?! at)", job)

    answer = api.get(f"matches/{match.pk}/build-sheet/").body
    assert (answer["taken_terminal"], answer["before"]["terminal"], answer["after"]["terminal"]) == (
        "window", "bench-2", None,
    )  # fmt: skip
    assert api.get(f"matches/{match.pk}/").body["terminal"] == "bench-2"
    assert [one["terminal"] for one in api.get("residuals/").body["results"]] == [None]


def test_a_final_check_at_a_terminal_says_so(at: At, owner: Person, bench: Bench, api: Api) -> None:
    asked = api.post("matches/", question("0.054 in", {})).body
    window = at.counter(owner)
    window.open(f"/matches/{asked['number']}/final/")
    window.send("/final/", {"reading": "54 54", "go": "done"})
    check = FinalCheck.objects.select_related("terminal").get()
    assert check.terminal is not None and check.terminal.code == "bench-2"
    assert f"{owner.username} at bench-254" in window.open(f"/matches/{asked['number']}/")
