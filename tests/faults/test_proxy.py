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


def test_a_line_that_fails(fresh_db: Urls, tmp_path: Path) -> None:
    owner = shop_new()
    token = Token.make(owner)
    with serving(fresh_db, tmp_path / "data") as service, failing_line(service.port, seed=1) as line:
        tally = Clients(owner, token, Service(line.port, service.process), seed=1).run(3, seconds=5, patience=60)
    table = table_of(tally, owner.shop_id)
    assert table.whole, f"\n{table}"
    assert table.acknowledged == table.stored > 0
    assert set(line.happened) == set(FAULTS), "each way to fail came up"
