"""What the database itself refuses, past every service."""

from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
import pytest
from django.db import DatabaseError, transaction

from shop.errors import Refusal, refusals


@contextmanager
def refused_by(name: str) -> Iterator[None]:
    """The constraint of this name refuses, and has a clear error of its own with a reason."""
    with pytest.raises(Refusal) as caught, refusals(), transaction.atomic():
        yield
    assert _constraint(caught.value.__cause__) == name
    assert caught.value.code != "refused" and caught.value.detail.endswith(".")


@contextmanager
def broken(name: str) -> Iterator[None]:
    """The constraint of this name refuses what no request can reach: a fault of ours, not the user's."""
    with pytest.raises(DatabaseError) as caught, refusals(), transaction.atomic():
        yield
    assert _constraint(caught.value) == name


def _constraint(error: BaseException | None) -> str | None:
    assert isinstance(error, DatabaseError)
    cause = error.__cause__
    assert isinstance(cause, psycopg.Error)
    return cause.diag.constraint_name
