"""Nothing acknowledged is lost and nothing is done twice, whatever is killed."""

import pytest
from pytest_django.plugin import DjangoDbBlocker

from tests.faults.kills import run
from tests.faults.victims import migrated, own_server

pytestmark = pytest.mark.processes


def test_killed_again_and_again(django_db_blocker: DjangoDbBlocker) -> None:
    with own_server() as server, django_db_blocker.unblock(), migrated(server):
        table, killed = run(server, clients=4, seconds=12, kills=6, seed=1)
    assert table.whole, f"\n{table}"
    assert table.acknowledged == table.stored > 0 and table.retried > 0
    assert killed["server"] and killed["worker"]
