"""The loose pack again: what the hand brings from the bin is not quite what the slip says."""

from typing import Any

import pytest
from django.core.management import call_command

from plates.lengths import length_parse
from shop.people.models import Person
from tests.api import Api, Reply
from tests.factories import BinFactory
from tests.shelves import Shelf, question, shelf_of

pytestmark = pytest.mark.django_db

STEELS = ["0.0698 in", "0.0699 in", "0.0700 in", "0.0701 in", "0.0702 in"]


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    """.0771 .0771 .0768 lie in B-14, by the book: one may be something else."""
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14")
    BinFactory.create(fit=made.steels, code="B-11", from_nm=length_parse("0.0735 in"), to_nm=length_parse("0.0745 in"))
    made.stock("0.0771 in", "0.0771 in", "0.0768 in")
    return made


@pytest.fixture
def taken(api: Api, shelf: Shelf) -> dict[str, Any]:
    """Thinnest three out: .0740 + .0698 + .0699 + .0700 - .0771 - .0771 - .0768 = .0527."""
    ask = question("0.0740 in", STEELS, job="J-1182", max_changes=3)
    match = api.post("matches/", ask).body
    number = next(option["number"] for option in match["options"] if option["predicted"]["in"] == "0.0527")
    taken: dict[str, Any] = api.post(f"matches/{match['id']}/take/", {"option": number}).body
    return taken


def pull(api: Api, match: dict[str, Any], plate: str, *readings: str, **more: Any) -> Reply:
    return api.post(f"matches/{match['id']}/pull-check/", {"plate": plate, "readings": list(readings), **more})


def predicted(match: dict[str, Any]) -> str:
    (built,) = [option for option in match["options"] if option["number"] == match["option_taken"]]
    text: str = built["predicted"]["in"]
    return text


def test_three_readings_refine_it_and_the_final_check_is_held_against_them(api: Api, taken: dict[str, Any]) -> None:
    """.0772, .0770 and .0769 were read: .0740 + .2097 - .2311 = .0526."""
    rows = sorted(taken["slip"], key=lambda row: -row["thickness"]["nm"])
    for row, reading in zip(rows, ("0.0772 in", "0.0770 in", "0.0769 in"), strict=True):
        match = pull(api, taken, row["plate"], reading).body
    assert predicted(match) == "0.0526"
    outs = [
        {"slot": "steels", "thickness": "0.0698 in", "fate": "scrap"},
        {"slot": "steels", "thickness": "0.0699 in", "fate": "job"},
        {"slot": "steels", "thickness": "0.0700 in", "fate": "customer"},
    ]
    match = api.post(f"matches/{taken['id']}/outs/", {"outs": outs}).body
    assert {one["thickness"]["in"]: one["fate"] for one in match["outs"]} == {
        "0.0698": "scrap",
        "0.0699": "job",
        "0.0700": "customer",
    }
    final = {"readings": ["0.0530 in"] * 3, "method": "feeler"}
    match = api.post(f"matches/{taken['id']}/final/", final).body
    assert (match["state"], match["residual"]["in"]) == ("closed", "0.0004")
    call_command("ledger_verify")


def test_a_misfiled_one_is_found_at_the_bin_and_the_pack_asked_again(api: Api, taken: dict[str, Any]) -> None:
    """The second in the hand reads .0738. Read again it is .0738; so it goes into B-11, and the rest is asked for."""
    first, second, _ = sorted(taken["slip"], key=lambda row: -row["thickness"]["nm"])
    assert pull(api, taken, first["plate"], "0.0771 in").status == 200
    reply = pull(api, taken, second["plate"], "0.0738 in")
    assert (reply.status, reply.code) == (409, "pull_mismatch")
    assert pull(api, taken, second["plate"], "0.0738 in", "0.0738 in").code == "pull_mismatch"

    match = pull(api, taken, second["plate"], "0.0738 in", then="rematch").body
    assert (match["state"], match["laid"]["bin"]) == ("open", "B-11")
    lying = api.get("plates/", state="on_shelf", ordering="thickness").body["results"]
    assert [(plate["thickness"]["in"], plate["bin"]) for plate in lying] == [
        ("0.0738", "B-11"),
        ("0.0768", "B-14"),
        ("0.0771", "B-14"),
    ]
    # What is really there: .0740 + .2097 - .0738 - .0768 - .0771 = .0560.
    best = next(option for option in match["options"] if option["changes"] == 3)
    assert best["predicted"]["in"] == "0.0560"
    again = api.post(f"matches/{match['id']}/take/", {"option": best["number"]}).body
    assert again["state"] == "taken"
    call_command("ledger_verify")


def test_or_it_goes_in_as_it_is_and_its_record_is_put_right(api: Api, taken: dict[str, Any]) -> None:
    """.0527 with a .0738 in place of a .0771 is .0560."""
    second = sorted(taken["slip"], key=lambda row: -row["thickness"]["nm"])[1]
    match = pull(api, taken, second["plate"], "0.0738 in", then="keep").body
    assert (match["state"], predicted(match)) == ("taken", "0.0560")
    lines = api.get("ledger/", plate=second["plate"]).body["results"]
    assert [line["act"] for line in lines] == ["received", "taken", "corrected"]
    assert [line["thickness"]["in"] for line in lines] == ["0.0771", "0.0771", "0.0738"]
    call_command("ledger_verify")
