"""A hold runs out while eight benches ask: it is released once, and more often with the lock off."""

from datetime import timedelta
from uuid import UUID

import pytest
from django.core.management import call_command
from django.utils import timezone

from plates.bench.take import match_hold
from plates.stock.ledger_models import LedgerLine
from plates.stock.models import Plate
from plates.stock.verify import differences
from shop.once import Answer, Once
from tests.api import Api
from tests.races.conftest import ASK, Crowd
from tests.races.unlocked import unlocked
from tests.service import Call, Service, serving

pytestmark = pytest.mark.processes


def ran_out_lines(crowd: Crowd, service: Service) -> int:
    """A fresh hold of one plate, made yesterday; asked for by eight at once; its lines that say it ran out."""
    match = Api(crowd.owner).post("matches/", ASK).body
    held = UUID(match["id"])
    once = Once(crowd.owner)
    match_hold(
        person=crowd.owner,
        match_id=held,
        option=match["options"][0]["number"],
        run=lambda act: once.run(act, lambda made: Answer(200, {})),
        at=timezone.now() - timedelta(days=1),
    )
    replies = service.at_once(crowd.token, [Call("matches/", ASK) for _ in range(8)])
    assert {reply.status for reply in replies} <= {201, 500}
    return LedgerLine.objects.filter(match=held, act="ran_out").count()


def test_released_once(crowd: Crowd) -> None:
    crowd.stock("0.0790 in")
    with serving(crowd.urls, crowd.data_dir) as service:
        assert ran_out_lines(crowd, service) == 1
    call_command("ledger_verify")


def test_control_without_the_lock_it_is_released_again(crowd: Crowd) -> None:
    """The plate changes once more than the ledger knows, and `ledger_verify` names it."""
    (plate,) = crowd.stock("0.0790 in")
    with unlocked(crowd.urls, crowd.data_dir, "holds_unlocked") as service:
        ran_out_lines(crowd, service)
    assert (str(plate.pk), "revision") in {(which, what) for which, what, *_ in differences()}
    assert Plate.objects.get().revision > LedgerLine.objects.count()
