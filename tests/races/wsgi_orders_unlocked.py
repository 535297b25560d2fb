"""The service that receives on an order without locking it, slowly."""
# ruff: noqa: I001

import time

from shop.wsgi import application  # first, since it sets Django up

from plates.buying import receiving
from plates.buying.models import Order

__all__ = ["application"]


def read(person, order_id):
    return Order.objects.get(shop_id=person.shop_id, pk=order_id)


def slowly(*args, **kwargs):
    time.sleep(0.5)
    return judge(*args, **kwargs)


judge = receiving.arrivals_judge
receiving.order_lock, receiving.arrivals_judge = read, slowly
