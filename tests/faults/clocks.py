"""The database's clock as it jumps: every hold of a shop is as much older, in the row and in its ledger line."""

from datetime import timedelta

import psycopg

from tests.conftest import Urls

_PLATES = "UPDATE plates_plate SET held_until = held_until - %s WHERE held_until IS NOT NULL AND shop_id = %s"
_MATCHES = "UPDATE plates_match SET held_until = held_until - %s WHERE held_until IS NOT NULL AND shop_id = %s"
_LINES = "UPDATE plates_ledgerline SET held_until = held_until - %s WHERE held_until IS NOT NULL AND shop_id = %s"


def jump(urls: Urls, shop_id: object, ahead: timedelta) -> None:
    """Let the clock jump ``ahead`` (or back, if negative), for the holds of one shop. Only the owner of the tables
    can do this, since the ledger refuses it to everybody: its guard is off within this transaction.
    """
    with psycopg.connect(urls.owner) as connection:
        connection.execute("ALTER TABLE plates_ledgerline DISABLE TRIGGER ledger_no_change")
        for statement in (_PLATES, _MATCHES, _LINES):
            connection.execute(statement, [ahead, shop_id])
        connection.execute("ALTER TABLE plates_ledgerline ENABLE TRIGGER ledger_no_change")
