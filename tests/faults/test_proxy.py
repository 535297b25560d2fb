"""Over a line that loses requests and answers, with retries under one key, everything is done exactly once."""

from pathlib import Path

import pytest

from shop.people.models import Token
from tests.conftest import Urls
from tests.faults.clients import Clients, table_of
from tests.faults.proxy import FAULTS, failing_line
from tests.faults.world import shop_new
from tests.service import Service, serving

pytestmark = pytest.mark.processes
ACTS = 60


def test_a_line_that_fails(fresh_db: Urls, tmp_path: Path) -> None:
    owner = shop_new()
    token = Token.make(owner)
    with serving(fresh_db, tmp_path / "data") as service, failing_line(service.port, seed=1) as line:
        clients = Clients(owner, token, Service(line.port, service.process), seed=1)

        def each_way_to_fail_came_up() -> bool:
            return set(line.happened) == set(FAULTS) and len(clients.tally.answers) >= ACTS

        tally = clients.run(3, each_way_to_fail_came_up, patience=60)
    table = table_of(tally, owner.shop_id)
    assert table.whole, f"\n{table}"
    assert table.acknowledged == table.stored > 0
