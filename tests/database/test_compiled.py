"""A query whose SQL is made once finds what Django finds each time anew."""

import uuid
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection, connections
from django.db.models import F, Q, QuerySet
from django.db.transaction import TransactionManagementError
from django.test.utils import CaptureQueriesContext

from plates.catalogue.models import Fit, Kind
from shop.compiled import MOST_SHAPES, compiled
from tests.factories import FitFactory, KindFactory

pytestmark = pytest.mark.django_db


def _kinds(shop_id: uuid.UUID, codes: tuple[str, ...]) -> QuerySet[Kind]:
    rows = Kind.objects.filter(shop_id=shop_id, code__in=codes).annotate(of=F("fit__code"))
    return rows.select_related("fit").order_by("-code")


def _locked(shop_id: uuid.UUID, code: str) -> QuerySet[Fit]:
    return Fit.objects.filter(shop_id=shop_id, code=code).select_for_update()


def _told(kinds: Any) -> list[tuple[Any, ...]]:
    every = [field.attname for field in Kind._meta.concrete_fields]
    return [(kind.of, kind.fit.code, kind.fit.shop_id, *(getattr(kind, name) for name in every)) for kind in kinds]


def test_each_call_finds_what_its_own_values_ask_for() -> None:
    one = KindFactory.create()
    beside, elsewhere = KindFactory.create(fit=one.fit), KindFactory.create(code=one.code)
    find = compiled(_kinds)
    asked = [
        (kind.shop_id, codes)
        for kind in (one, elsewhere, beside)
        for codes in ((kind.code,), (one.code, beside.code), (beside.code, one.code), ("nothing",), ())
    ]
    for values in asked * 2:
        assert _told(find(*values)) == _told(_kinds(*values)), values
    assert len(find(one.shop_id, (one.code, beside.code))) == 2


def test_it_is_one_statement_with_its_links() -> None:
    kind = KindFactory.create()
    find = compiled(_kinds)
    for _ in range(2):
        with CaptureQueriesContext(connection) as sent:
            _told(find(kind.shop_id, (kind.code,)))
        assert len(sent) == 1


def test_each_shape_is_made_once_and_beyond_the_most_each_time() -> None:
    kind, made = KindFactory.create(), list[int]()

    def counted(shop_id: uuid.UUID, codes: tuple[str, ...]) -> QuerySet[Kind]:
        made.append(len(codes))
        return _kinds(shop_id, codes)

    find, lengths = compiled(counted), range(1, MOST_SHAPES + 3)
    for length in (*lengths, *lengths):
        assert [found.pk for found in find(kind.shop_id, (kind.code,) * length)] == [kind.pk]
    assert made == [*lengths, *lengths[MOST_SHAPES:]]


def test_another_thread_asks_over_its_own_connection() -> None:
    fit = FitFactory.create()
    find = compiled(lambda shop_id, code: Fit.objects.filter(shop_id=shop_id, code=code))
    assert find(fit.shop_id, fit.code) == [fit]

    def elsewhere() -> int:
        with CaptureQueriesContext(connection) as sent:
            assert find(fit.shop_id, fit.code) == []  # here nothing is committed yet
        connection.close()
        return len(sent)

    with ThreadPoolExecutor(1) as other:
        assert other.submit(elsewhere).result() == 1
    assert find(fit.shop_id, fit.code) == [fit]


def test_what_is_not_simply_put_in_is_refused() -> None:
    fit = FitFactory.create()
    with pytest.raises(TypeError, match="1 of the values stand nowhere"):
        compiled(lambda shop_id, code: Fit.objects.filter(shop_id=shop_id))(fit.shop_id, fit.code)
    with pytest.raises(TypeError, match="stand nowhere"):
        compiled(lambda shop_id, part: Fit.objects.filter(shop_id=shop_id, code__contains=part))(fit.shop_id, "F")
    both = compiled(lambda code: Fit.objects.filter(Q(code=code) | Q(code__contains=code)))
    with pytest.raises(TypeError, match="1 of the values stand nowhere in the query as they are"):
        both(fit.code)
    with pytest.raises(TypeError, match="neither a UUID nor a text"):
        compiled(lambda teeth: Fit.objects.filter(teeth=teeth))(36)
    with pytest.raises(TypeError, match="neither a UUID nor a text"):
        compiled(lambda job: Kind.objects.filter(supplier=job))(None)


def test_a_lock_needs_its_transaction_each_time(monkeypatch: pytest.MonkeyPatch) -> None:
    fit = FitFactory.create()
    find = compiled(_locked)
    assert find(fit.shop_id, fit.code) == [fit]
    monkeypatch.setattr(connections["default"], "get_autocommit", lambda: True)
    for ask in (find, lambda *values: list(_locked(*values))):
        with pytest.raises(TransactionManagementError):
            ask(fit.shop_id, fit.code)
