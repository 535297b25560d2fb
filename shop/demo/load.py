"""Fill the demo shop through the services, whole or not at all, and the same every time."""

import json
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import connection, transaction

from shop.demo import buying, catalogue, gauges, history, shelf
from shop.demo.crew import Crew
from shop.errors import Refusal
from shop.people.models import Person, Role, Shop
from shop.people.services import shop_open

PEOPLE = {"rosa": Role.BENCH, "imre": Role.COUNTER, "odile": Role.BUYER, "tomas": Role.OWNER}
FIXTURES = settings.BASE_DIR / "fixtures" / "demo"

#: Something that happened in the shop: when, and what to do about it now.
Event = tuple[datetime, Callable[[], object]]


class NotForDemo(Refusal):
    code, title = "not_for_demo", "This is not a database for the demo"


def real_shop_refuse() -> None:
    """Raises :class:`NotForDemo` when the database holds a real shop; one without tables yet holds none."""
    if Shop._meta.db_table not in connection.introspection.table_names():
        return
    with connection.cursor() as cursor:  # by hand: an older shop may lack columns of today, and is not migrated here
        cursor.execute("SELECT name FROM shop_shop WHERE NOT is_demo ORDER BY id LIMIT 1")
        row = cursor.fetchone()
    if row:
        raise NotForDemo(
            f"This database holds a real shop, {row[0]!r}; invented plates and people do not go into it, and nothing "
            "was changed. Set PLATES_DATA_DIR to a directory of the demo's own (or DATABASE_URL to an empty database)."
        )


def demo_shop() -> Shop | None:
    """The demo shop, filled, or None where there is none yet. Raises :class:`NotForDemo` for half a one."""
    shop = Shop.objects.filter(is_demo=True).first()
    if shop and not shop.demo_ready:
        raise NotForDemo(
            "The demo shop in this database was never filled to its end. "
            "Set PLATES_DATA_DIR to an empty directory, or DATABASE_URL to an empty database."
        )
    return shop


def demo_load(now: datetime) -> Shop:
    """Make and fill the demo shop, with its history up to ``now``, in one transaction: cut short, it never was.

    The people have no password yet.
    """
    with transaction.atomic():
        owner = shop_open(name=_rows("catalogue")["shop"], owner="tomas", password=None, is_demo=True)
        for username, role in PEOPLE.items():
            if username != owner.username:
                Person.objects.create_person(shop=owner.shop, username=username, password=None, role=role)
        crew = Crew.of(owner.shop)
        stock = catalogue.fill(crew, _rows("catalogue"))
        shelf.bins_make(crew, stock, _rows("shelf")["bins"])
        gauges.gauges_make(crew, _rows("gauges")["gauges"])
        buying.rules_make(crew, stock, _rows("buying")["rules"])
        for _, happens in sorted(_events(crew, stock, now), key=lambda event: event[0]):
            happens()
        owner.shop.demo_ready = True
        owner.shop.save(update_fields=["demo_ready"])
    return owner.shop


def _events(crew: Crew, stock: catalogue.Catalogue, now: datetime) -> Iterator[Event]:
    """Checks, deliveries, odd plates, orders, jobs; in the order of their days each job finds the shelf of that day."""
    yield from gauges.checks(crew, now, _rows("gauges"))
    yield from shelf.deliveries(crew, stock, now)
    yield from shelf.odd_plates(crew, stock, now, _rows("shelf")["odd"])
    yield from buying.orders(crew, stock, now, _rows("buying")["orders"])
    yield from history.jobs(crew, stock, now, _rows("jobs")["jobs"])


def passwords_set(shop: Shop, password: str) -> None:
    """One password for all four. Where they have it already nothing is written, so that nobody is signed out."""
    for person in Person.objects.filter(shop=shop, username__in=PEOPLE):
        if not person.check_password(password):
            person.set_password(password)
            person.save(update_fields=["password"])


def _rows(name: str) -> dict[str, Any]:
    return json.loads((FIXTURES / f"{name}.json").read_text(encoding="utf-8"))
