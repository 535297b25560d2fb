"""One press of a scanner that stutters, and the same with the key's claim off."""

from collections import Counter

import psycopg
import pytest

from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from tests.races.conftest import Crowd
from tests.service import Call, Reply, serving

pytestmark = pytest.mark.processes


def pressed_six_times(crowd: Crowd, module: str) -> list[Reply]:
    scan = Call("plates/", {"kind": crowd.kind.code, "readings": ["0.0790 in"], "confirm": True}, "press")
    with serving(crowd.urls, crowd.data_dir, module) as service:
        return service.at_once(crowd.token, [scan] * 6)


def drop(crowd: Crowd, *constraints: tuple[str, str]) -> None:
    with psycopg.connect(crowd.urls.owner, autocommit=True) as owner:
        for table, name in constraints:
            owner.execute(f"ALTER TABLE {table} DROP CONSTRAINT {name}")  # type: ignore[call-overload]


CLAIM, MADE = ("shop_requestkey", "requestkey_once"), ("plates_plate", "plate_made_key")


def test_one_press_is_one_plate(crowd: Crowd) -> None:
    replies = pressed_six_times(crowd, "shop.wsgi")
    good = [reply for reply in replies if reply.status == 201]
    assert {(reply.status, reply.body["code"]) for reply in replies if reply.status != 201} <= {(409, "busy")}
    assert good and all(reply.body == good[0].body for reply in good)
    assert Plate.objects.count() == LedgerLine.objects.count() == 1


def test_control_without_the_claim_only_the_key_on_the_plate_is_left(crowd: Crowd) -> None:
    drop(crowd, CLAIM)
    replies = pressed_six_times(crowd, "tests.races.wsgi_keys_unclaimed:application")
    assert Counter(reply.status for reply in replies) == {201: 1, 409: 5}
    assert {reply.body["code"] for reply in replies if reply.status == 409} == {"key_spent"}
    assert Plate.objects.count() == 1


def test_control_without_either_one_press_is_six_plates(crowd: Crowd) -> None:
    drop(crowd, CLAIM, MADE)
    replies = pressed_six_times(crowd, "tests.races.wsgi_keys_unclaimed:application")
    assert {reply.status for reply in replies} == {201}
    assert Plate.objects.count() == 6
