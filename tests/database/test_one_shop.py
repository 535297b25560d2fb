"""Every statement of every call and page stays within one shop, so that where shops are spread over machines each is
one machine's work.

What a statement is confined to is read off PostgreSQL's own plan of it: a condition stands at the scan of a table
whether it was typed, joined on or carried over from another table, and no reading of SQL can be fooled.
"""

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.apps import apps
from django.db import connection

from plates.stock.models import Plate
from shop.links import Link
from shop.rows import uuid7
from tests.access.api_calls import FILTERS, LISTS, POSTS, READS
from tests.access.conftest import Two, filled, two, undone  # noqa: F401  # a fixture
from tests.access.page_calls import OPENED, SENT
from tests.access.windows import Window
from tests.api import Api
from tests.database.test_door import rows

pytestmark = pytest.mark.django_db

#: Asked before it is known of which shop somebody is: such a database keeps them whole on every machine.
DOORS = {"shop_person", "shop_terminal", "shop_token"}

_MOVES_ROWS = re.compile(r"\s*(SELECT|INSERT|UPDATE|DELETE|WITH)\b", re.IGNORECASE)
_CONDITIONS = ("Index Cond", "Recheck Cond", "Filter")
_JOINS = ("Hash Cond", "Merge Cond", "Join Filter")
_BY_THE_SHOP = re.compile(r"\b(\w+)\.shop_id = (\w+)\.shop_id\b")
#: Of one shop that is told, or of the shop of a row that is. Another value than an id is an error.
_OF_A_SHOP = re.compile(r"\bshop_id = ('[0-9a-f-]{36}'::uuid|\(*\w+\.shop_id\b|\$\d+)")


def of_shops() -> set[str]:
    found = rows("SELECT relname FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid"
                 " WHERE relnamespace = 'public'::regnamespace AND relkind = 'r' AND attname = 'shop_id'")  # fmt: skip
    return {name for (name,) in found}


class Watch:
    """The statements that run meanwhile: which reach a shop's table other than by the shop, which name another shop."""

    def __init__(self, own: object, other: object) -> None:
        self.own, self.other, self.tables = str(own), str(other), of_shops() - DOORS
        self.run = 0
        self.seen: set[str] = set()
        self.reached: set[str] = set()
        self.wide: list[tuple[str, str]] = []
        self.foreign: list[str] = []

    def __call__(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if _MOVES_ROWS.match(sql):
            self.run += 1
            if self.other in repr(params):
                self.foreign.append(sql)
            if sql not in self.seen:
                self.seen.add(sql)
                self._look(sql, params)
        return execute(sql, params, many, context)

    def _look(self, sql: str, params: Any) -> None:
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN (VERBOSE, COSTS OFF, FORMAT JSON) {sql}", params)
            (found,) = cursor.fetchone()
        plan = json.loads(found)[0]["Plan"] if isinstance(found, str) else found[0]["Plan"]
        joined = _joined(plan)
        for node in _nodes(plan):
            table = node.get("Relation Name")
            if table not in self.tables:
                continue
            self.reached.add(table)
            writes = node["Node Type"] == "ModifyTable"
            named = self.own in json.dumps(plan) + repr(params)  # a plan of many rows does not show their values
            if not (named if writes else node["Alias"] in joined or _OF_A_SHOP.search(_conditions(node))):
                self.wide.append((table, sql))


def _nodes(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield plan
    for below in plan.get("Plans", ()):
        yield from _nodes(below)


def _joined(plan: dict[str, Any]) -> set[str]:
    """Aliases of one shop because they are joined by it to what is: where PostgreSQL joins by a hash or in order of the
    keys, that stands at the join and not at the scan. What a part of the statement found is looked at by itself.
    """
    nodes = [*_nodes(plan)]
    said = " ".join(str(node.get(name, "")) for node in nodes for name in _JOINS)
    known = {node["Alias"] for node in nodes if node["Node Type"] in ("CTE Scan", "Subquery Scan")}
    known |= {node["Alias"] for node in nodes if "Alias" in node and _OF_A_SHOP.search(_conditions(node))}
    pairs = _BY_THE_SHOP.findall(said)
    for _ in pairs:
        known |= {alias for pair in pairs if known & {*pair} for alias in pair}
    return known


def _conditions(scan: dict[str, Any]) -> str:
    """Of a scan and of the bitmaps that it reads by; what hangs on it besides is another scan's."""
    bitmaps = [below for below in scan.get("Plans", ()) if below["Node Type"].startswith("Bitmap")]
    return " ".join([*(str(scan.get(name, "")) for name in _CONDITIONS), *map(_conditions, bitmaps)])


@contextmanager
def watched(two: Two) -> Iterator[Watch]:  # noqa: F811
    other = Plate.objects.get(pk=two.theirs["plate"]).shop_id
    watch = Watch(two.owner.shop_id, other)
    with connection.execute_wrapper(watch):
        yield watch


def walk_api(two: Two) -> None:  # noqa: F811
    api = Api(two.owner)
    for template in [*LISTS, *(f"{path}{{{name}}}/" for path, name in LISTS.items()), *READS, *FILTERS]:
        path, _, query = filled(template, two.mine).partition("?")
        reply = api.get(path, **dict(part.split("=", 1) for part in query.split("&") if part))
        assert reply.status == 200, (template, reply)
    for call in POSTS:
        with undone():
            reply = api.post(filled(call.path, two.mine), filled(call.body, two.mine), key="a-key-of-this-act")
            assert reply.status in (200, 201), (call.path, reply)


def walk_pages(two: Two) -> None:  # noqa: F811
    window = Window(two.owner)
    for template in OPENED:
        assert window.get(filled(template, two.mine)).status in (200, 302), template
    for call in SENT:
        with undone():
            answer = Window(two.owner).send(filled(call.path, two.mine), filled(call.fields, two.mine))
            assert answer.status < 400, (call.path, answer)
    ordered = Plate.objects.filter(shop_id=two.owner.shop_id, order_line__isnull=False)
    with undone():  # what comes off an order, with its claim
        answer = Window(two.owner).send("/scan-in/undo/", {"plate": str(ordered.get().pk), "batch": str(uuid7())})
        assert answer.status < 400, answer


def test_every_statement_is_one_shops(two: Two, capsys: pytest.CaptureFixture[str]) -> None:  # noqa: F811
    with watched(two) as watch:
        walk_api(two)
        walk_pages(two)
    with capsys.disabled():
        print(f"\n{watch.run} statements, {len(watch.seen)} different ones, of {len(watch.reached)} tables")
    assert watch.wide == []
    assert watch.foreign == []
    assert watch.tables - watch.reached == set()


def test_every_link_is_followed_by_the_shop() -> None:
    """Also where no call follows it today."""
    links = [field for name in ("shop", "plates") for model in apps.get_app_config(name).get_models()
             for field in model._meta.concrete_fields if field.is_relation and field.name != "shop"]  # fmt: skip
    assert len(links) > 50
    assert [str(field) for field in links if not isinstance(field, Link)] == []


def test_control_a_statement_without_the_shop_is_found(two: Two) -> None:  # noqa: F811
    """By the bare key; by a join on it; by a condition of another table's; a write; and with another shop's id."""
    plate = two.mine["plate"]
    of_shop = "SELECT count(*) FROM plates_plate p JOIN plates_kind k ON k.id = p.kind_id WHERE p.shop_id = %s"
    nested = "SELECT count(*) FROM plates_kind k WHERE {}EXISTS (SELECT FROM plates_plate p WHERE p.shop_id = %s)"
    with watched(two) as watch, connection.cursor() as cursor:
        Plate.objects.filter(pk=plate).first()
        Plate.objects.filter(pk=plate).update(mark="")
        cursor.execute(of_shop, [two.owner.shop_id])
        cursor.execute(nested.format(""), [two.owner.shop_id])
        assert [table for table, _ in watch.wide] == ["plates_plate"] * 3 + ["plates_kind"] * 2
        watch.wide.clear()
        cursor.execute("SELECT count(*) FROM plates_plate p JOIN plates_kind k ON k.shop_id = p.shop_id")
        # Of one shop, but of which? At least the table that is read first is read whole.
        assert {table for table, _ in watch.wide} & {"plates_plate", "plates_kind"}
        watch.wide.clear()
        Plate.objects.filter(pk=plate, shop_id=two.owner.shop_id).select_related("kind", "bin", "lot").first()
        cursor.execute(of_shop + " AND k.shop_id = p.shop_id", [two.owner.shop_id])
        cursor.execute(nested.format("k.shop_id = %s AND "), [two.owner.shop_id] * 2)
        assert watch.wide == []
        assert watch.foreign == []
        cursor.execute(of_shop, [watch.other])
        assert len(watch.foreign) == 1
