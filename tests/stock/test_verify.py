"""`ledger_verify` rebuilds every plate from the ledger alone: what was bent behind its back is named."""

from collections.abc import Iterator
from typing import Any

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from plates.stock.models import Bin, HandOut, Plate
from plates.stock.verify import differences
from shop.people.models import Person
from tests.api import Api
from tests.conftest import Urls
from tests.factories import BinFactory, PersonFactory
from tests.shelves import question, shelf_of


def worked_shop(person: Person) -> dict[str, str]:
    """Every act of the stock and the bench once; the ids of a plate in each state."""
    shelf, api = shelf_of(person), Api(person)
    BinFactory.create(fit=shelf.steels, code="B-14")
    free, *others = (str(plate.pk) for plate in shelf.stock(*["0.0771 in"] * 6))
    loose = question("0.0640 in", ["0.0670 in"] * 5, job="J-1")
    taken = api.post("matches/", {**loose, "take": True}).body["slip"][0]["plate"]
    match = api.post("matches/", loose).body
    held = api.post(f"matches/{match['id']}/hold/", {"option": 1}).body["options"][0]["in"][0]["plate"]
    handed, scrapped, back, ground = [one for one in (free, *others) if one not in (taken, held)]
    api.post("hand-outs/", {"plates": [handed, back], "reason": "lent"})
    api.post(f"plates/{back}/put-back/", {"readings": ["0.0762 in"]})
    api.post(f"plates/{scrapped}/scrap/", {"reason": "burnt"})
    api.post(f"plates/{ground}/rework/", {"readings": ["0.0760 in"]})
    return {"taken": taken, "held": held, "handed_out": handed, "scrapped": scrapped, "on_shelf": back}


@pytest.mark.django_db
def test_after_every_act_shelf_and_ledger_agree(owner: Person, capsys: pytest.CaptureFixture[str]) -> None:
    plates = worked_shop(owner)
    assert {state: Plate.objects.get(pk=plate).state for state, plate in plates.items()} == {s: s for s in plates}
    call_command("ledger_verify")
    assert "7 plates and 14 ledger lines: shelf and ledger agree" in capsys.readouterr().out


def other_id(column: str, shop_id: Any) -> Any:
    if column == "bin_id":
        return Bin.objects.filter(shop_id=shop_id, code="B-2").get().pk
    if column == "hand_out_id":
        return HandOut.objects.create(shop_id=shop_id, reason="lost", person=Person.objects.get(shop_id=shop_id)).pk
    return None


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("column", "state", "value", "named"),
    [
        ("state", "on_shelf", "quarantined", "state"),
        ("state", "taken", "on_shelf", "state"),
        ("bin_id", "handed_out", None, "bin"),
        ("bin_id", "taken", "other", "bin"),
        ("thickness_nm", "on_shelf", 1_958_341, "thickness"),
        ("spread_nm", "on_shelf", 1, "spread"),
        ("u_nm", "on_shelf", 0.5, "uncertainty"),
        ("match_id", "taken", None, "match"),
        ("job_id", "taken", None, "job"),
        ("job_id", "held", None, "job"),
        ("hand_out_id", "handed_out", None, "hand-out"),
        ("hand_out_id", "on_shelf", "other", "hand-out"),
        ("held_until", "held", "2031-01-01 00:00+00", "held until"),
        ("revision", "on_shelf", 9, "revision"),
    ],
)
def test_each_corrupted_column_is_named(
    owner: Person, capsys: pytest.CaptureFixture[str], column: str, state: str, value: Any, named: str
) -> None:
    plate = worked_shop(owner)[state]
    BinFactory.create(fit=Plate.objects.get(pk=plate).fit, code="B-2", from_nm=1, to_nm=2)
    if value == "other":
        value = other_id(column, owner.shop_id)
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE plates_plate SET {column} = %s WHERE id = %s", [value, plate])
        assert cursor.rowcount == 1
    assert [(found, what) for found, what, _, _ in differences()] == [(plate, named)]
    with pytest.raises(CommandError, match="1 differences") as caught:
        call_command("ledger_verify")
    assert caught.value.returncode == 1
    assert f"plate {plate}: {named} is " in capsys.readouterr().out


@pytest.mark.django_db
def test_a_plate_without_a_line_is_named(owner: Person) -> None:
    shelf = shelf_of(owner)
    plate = Plate.objects.create(
        shop=owner.shop, kind=shelf.kind, fit=shelf.steels, role="steel", state="on_shelf", condition="new",
        thickness_nm=1, spread_nm=0, revision=1,
    )  # fmt: skip
    with transaction.atomic():
        assert [(found, what) for found, what, _, _ in differences()] == [(str(plate.pk), "ledger")]


@pytest.fixture
def unguarded(fresh_db: Urls) -> Iterator[tuple[psycopg.Connection, str]]:
    """The ledger without its guards and constraints, as a careless restore would leave it; and a taken plate."""
    person = PersonFactory.create()
    plate = worked_shop(person)["taken"]
    with psycopg.connect(fresh_db.owner, autocommit=True) as owners:
        owners.execute("ALTER TABLE plates_ledgerline DISABLE TRIGGER USER")
        for name in ("chain", "balance", "before", "first", "state", "delta"):
            owners.execute(f"ALTER TABLE plates_ledgerline DROP CONSTRAINT ledger_{name}")  # type: ignore[call-overload]
        yield owners, plate


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        ("DELETE FROM plates_ledgerline WHERE plate_id = %s", {"ledger"}),
        ("DELETE FROM plates_ledgerline WHERE plate_id = %s AND seq = 1", {"lines", "balance"}),
        ("UPDATE plates_ledgerline SET balance = 1 WHERE plate_id = %s AND seq = 2", {"balance"}),
        ("UPDATE plates_ledgerline SET delta = 0 WHERE plate_id = %s AND seq = 2", {"balance"}),
        ("UPDATE plates_ledgerline SET seq = 3 WHERE plate_id = %s AND seq = 2", {"lines", "revision"}),
        ("UPDATE plates_ledgerline SET state = 'scrapped' WHERE plate_id = %s AND seq = 2", {"state", "job", "match"}),
        ("UPDATE plates_ledgerline SET thickness_nm = 7 WHERE plate_id = %s AND seq = 2", {"thickness"}),
        ("UPDATE plates_ledgerline SET match_id = NULL WHERE plate_id = %s AND seq = 2", {"match"}),
    ],
)
def test_a_ledger_bent_by_its_owner_is_found_out(
    unguarded: tuple[psycopg.Connection, str], statement: str, named: set[str]
) -> None:
    owners, plate = unguarded
    assert list(differences()) == []
    assert owners.execute(statement, [plate]).rowcount  # type: ignore[call-overload]
    found = list(differences())
    assert {which for which, *_ in found} == {plate}
    assert {what for _, what, *_ in found} == named
