"""A shop hangs on nothing outside itself: moved into another database it is all there, agrees with its ledger and works
on. So shops can be spread over databases that know nothing of each other.
"""

import io
import os
from collections.abc import Callable
from uuid import UUID

import psycopg
import pytest
from django.core.management import call_command
from django.test import Client
from psycopg import sql

from shop.people.models import Person
from shop.people.services import shop_open
from tests.access.furnished import asked_of, furnish
from tests.api import Api
from tests.conftest import Urls, drop, pointed_at
from tests.database.moving import shop_move, shop_rows, shop_tables

PASSWORD = "a mile of string 4"
#: Of which `furnish` makes none.
EMPTY = {"plates_orderset", "plates_pricebreak", "plates_slotfit", "shop_requestkey"}


def contents(urls: Urls, shop: UUID | None = None) -> dict[str, list[str]]:
    """The rows of a shop in each table, or of all shops."""
    with psycopg.connect(urls.app) as connection:
        found = {}
        for table, columns in shop_tables(connection).items():
            query = sql.SQL("SELECT t::text FROM ({}) t ORDER BY 1").format(shop_rows(table, columns, shop))
            found[table] = [row for (row,) in connection.execute(query)]
    return found


def test_a_shop_moves_into_another_database(fresh_db: Urls, server: Urls, clone: Callable[[str], Urls]) -> None:
    owner = shop_open(name="Moves", owner="mover", password=PASSWORD)
    other = shop_open(name="Stays", owner="stayer", password=PASSWORD)
    names = furnish(owner, "MINE")
    furnish(other, "THEIRS")
    before = contents(fresh_db, owner.shop_id)
    assert {table for table, rows in before.items() if not rows} <= EMPTY
    name = f"moved_{os.getpid()}"
    there = clone(name)
    try:
        assert shop_move(owner.shop_id, out=fresh_db, into=there) == sum(map(len, before.values()))
        assert contents(there, owner.shop_id) == before
        assert contents(there) == before, "nothing of the other shop"
        assert contents(fresh_db, owner.shop_id) == before
        with pointed_at(there):
            said = io.StringIO()
            call_command("ledger_verify", stdout=said)
            assert "shelf and ledger agree" in said.getvalue()
            client = Client()
            client.post("/sign-in/", {"username": "mover", "password": PASSWORD})
            assert client.get(f"/kinds/{names['kind']}/").status_code == 200
            api = Api(Person.objects.get(username="mover"))
            ask = {**asked_of(names["spec"]), "job": "FIRST-HERE", "take": True}
            number = api.post("matches/", ask).body["number"]
            numbers = api.get("matches/").body
            assert number == numbers["count"], "short numbers go on where they were"
        now = contents(there)
        with pytest.raises(psycopg.errors.UniqueViolation):
            shop_move(owner.shop_id, out=fresh_db, into=there)
        assert contents(there) == now
    finally:
        drop(server, name)
