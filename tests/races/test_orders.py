"""Six hands scan in the last plate that is due on an order: one counts on it, the others are asked. Of an order that is
cancelled while plates of it come in, nothing more is due.
"""

from collections import Counter
from collections.abc import Callable

import pytest

from plates.buying.models import Order, OrderState
from plates.stock.models import Plate
from tests.api import Api
from tests.races.conftest import Crowd
from tests.races.unlocked import unlocked
from tests.service import Call, Service, serving

pytestmark = pytest.mark.processes


def sent(crowd: Crowd, quantity: int) -> str:
    """An order of so many steels: its address."""
    api = Api(crowd.owner)
    lines = [{"kind": crowd.kind.code, "quantity": quantity}]
    path = f"orders/{api.post('orders/', {'supplier': 'North Works', 'lines': lines}).body['id']}/"
    api.post(f"{path}send/", {})
    return path


def hands(crowd: Crowd, path: str, count: int) -> list[Call]:
    came = {"plates": [{"kind": crowd.kind.code, "readings": ["0.0770 in"]}]}
    return [Call(f"{path}receive/", came, f"hand-{n}") for n in range(count)]


def received_by_six(crowd: Crowd, service: Service) -> Counter[int]:
    calls = hands(crowd, sent(crowd, 1), 6)
    return Counter(reply.status for reply in service.at_once(crowd.token, calls))


def cancelled_meanwhile(crowd: Crowd, service: Service) -> list[int]:
    """Three of many scanned in while it is cancelled: what was answered, the cancelling last."""
    path = sent(crowd, 9)
    calls = [*hands(crowd, path, 3), Call(f"{path}cancel/", {}, "cancel")]
    return [reply.status for reply in service.at_once(crowd.token, calls)]


def test_the_last_one_due_comes_once(crowd: Crowd, verified: Callable[[], None]) -> None:
    with serving(crowd.urls, crowd.data_dir) as service:
        assert received_by_six(crowd, service) == {200: 1, 422: 5}
    assert Plate.objects.count() == Order.objects.get().lines.get().received == 1
    verified()


def test_control_without_the_lock_on_the_order(crowd: Crowd) -> None:
    """More plates came than the order says."""
    with unlocked(crowd.urls, crowd.data_dir, "orders_unlocked") as service:
        statuses = received_by_six(crowd, service)
    assert statuses[200] > 1 and Plate.objects.count() == statuses[200], statuses
    assert Order.objects.get().lines.get().received == 1


def test_a_cancelled_order_stays_cancelled(crowd: Crowd, verified: Callable[[], None]) -> None:
    with serving(crowd.urls, crowd.data_dir) as service:
        *came, cancelled = cancelled_meanwhile(crowd, service)
    assert cancelled == 200 and set(came) <= {200, 409}
    order = Order.objects.get()
    assert order.state == OrderState.CANCELLED
    assert Plate.objects.count() == order.lines.get().received == came.count(200)
    verified()


def test_control_cancelled_without_the_lock_on_the_order(crowd: Crowd) -> None:
    """A hand that read the order before it was cancelled writes it back as it was."""
    path, cancelled = sent(crowd, 9), []

    def cancel(service: Service) -> None:
        cancelled.append(service.post(crowd.token, Call(f"{path}cancel/", {}, "cancel")).status)

    with unlocked(crowd.urls, crowd.data_dir, "orders_unlocked", standing=3, meanwhile=cancel) as service:
        service.at_once(crowd.token, hands(crowd, path, 3))
    assert cancelled == [200] and Order.objects.get().state == OrderState.PART
