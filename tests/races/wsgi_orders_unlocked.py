"""The service that receives on an order without locking it."""
# ruff: noqa: I001

from shop.wsgi import application  # first, since it sets Django up

from plates.buying import receiving
from plates.buying.models import Order
from tests.races.gate import stand

__all__ = ["application"]


def read(person, order_id):
    return Order.objects.get(shop_id=person.shop_id, pk=order_id)


def later(*args, **kwargs):
    stand()
    return judge(*args, **kwargs)


judge = receiving.arrivals_judge
receiving.order_lock, receiving.arrivals_judge = read, later
