"""Six hands scan in the last plate that is due on an order: one counts on it, the others are asked."""

from collections import Counter
from collections.abc import Callable

import pytest

from plates.buying.models import Order
from plates.stock.models import Plate
from tests.api import Api
from tests.races.conftest import Crowd
from tests.service import Call, Service, serving

pytestmark = pytest.mark.processes


def received_by_six(crowd: Crowd, service: Service) -> Counter[int]:
    api = Api(crowd.owner)
    lines = [{"kind": crowd.kind.code, "quantity": 1}]
    path = f"orders/{api.post('orders/', {'supplier': 'North Works', 'lines': lines}).body['id']}/"
    api.post(f"{path}send/", {})
    came = {"plates": [{"kind": crowd.kind.code, "readings": ["0.0770 in"]}]}
    calls = [Call(f"{path}receive/", came, f"hand-{n}") for n in range(6)]
    return Counter(reply.status for reply in service.at_once(crowd.token, calls))


def test_the_last_one_due_comes_once(crowd: Crowd, verified: Callable[[], None]) -> None:
    with serving(crowd.urls, crowd.data_dir) as service:
        assert received_by_six(crowd, service) == {200: 1, 422: 5}
    assert Plate.objects.count() == Order.objects.get().lines.get().received == 1
    verified()


def test_control_without_the_lock_on_the_order(crowd: Crowd) -> None:
    """More plates came than the order says."""
    with serving(crowd.urls, crowd.data_dir, "tests.races.wsgi_orders_unlocked:application") as service:
        statuses = received_by_six(crowd, service)
    assert statuses[200] > 1 and Plate.objects.count() == statuses[200], statuses
    assert Order.objects.get().lines.get().received == 1
