"""Queries whose SQL is made once.

Django makes the SQL of a query anew each time that it runs, and for rows with their links that takes more processor
time than all else that is done with them. A query that every act asks, always in the same shape, is made once for each
shape here; from then on only its values are put in.
"""

import uuid
from collections.abc import Callable, Iterator, Sequence
from copy import copy
from functools import wraps
from typing import Any, TypeVar, TypeVarTuple

from django.db import connections, models
from django.db.transaction import TransactionManagementError

Values = TypeVarTuple("Values")
Row = TypeVar("Row")
#: A query with lists of many lengths has many shapes; beyond so many Django makes the SQL as ever.
MOST_SHAPES = 50


def compiled(make: Callable[[*Values], models.QuerySet[Any, Row]]) -> Callable[[*Values], list[Row]]:
    """The rows of the query that ``make`` makes of its values, as a list.

    A value is a UUID, a text, or a tuple of them, and stands in the query as it is: nothing else of the query, which
    of its conditions there are say, may hang on it. Raises TypeError for any other. What the rows prefetch is not
    fetched. A query that locks raises TransactionManagementError outside a transaction, as Django's own does.
    """
    statements: dict[tuple[Any, ...], _Statement] = {}

    @wraps(make)
    def rows(*values: *Values) -> list[Row]:
        shape = tuple(len(value) if isinstance(value, tuple) else type(value) for value in values)
        statement = statements.get(shape)
        if statement is None:
            if 0 in shape or len(statements) >= MOST_SHAPES:  # several threads may add the last one
                return list(make(*values))
            statement = statements[shape] = _Statement(make, values)
        return statement.rows(values)

    return rows


def first(rows: Sequence[Row]) -> Row | None:
    """The first of the rows, None where there are none."""
    return rows[0] if rows else None


class _Statement:
    """A query of one shape."""

    def __init__(self, make: Callable[..., models.QuerySet[Any, Any]], values: Sequence[Any]) -> None:
        marks = [_marks(value) for value in values]
        self._queryset = make(*marks)
        self._compiler: Any = self._queryset.query.get_compiler(self._queryset.db)
        self._sql, params = self._compiler.as_sql()
        self._compiler.connection = None  # that of the thread that came first: kept here it would outlive its thread
        places = {mark: place for place, mark in enumerate(_flat(marks))}
        made = [str(param) for param in params if param not in places]
        if lost := [mark for mark in places if mark not in params or any(str(mark) in param for param in made)]:
            raise TypeError(f"{len(lost)} of the values stand nowhere in the query as they are: {self._sql}")
        self._params = [(places.get(param), param) for param in params]

    def rows(self, values: Sequence[Any]) -> list[Any]:
        given = list(_flat(values))
        params = tuple(fixed if place is None else given[place] for place, fixed in self._params)
        compiler = copy(self._compiler)  # another thread may be at it, with a connection of its own
        compiler.connection = connections[self._queryset.db]
        if self._queryset.query.select_for_update and compiler.connection.get_autocommit():
            raise TransactionManagementError("select_for_update cannot be used outside of a transaction.")
        compiler.as_sql = lambda: (self._sql, params)
        rows: Any = self._queryset._iterable_class
        return list(rows(_Asked(self._queryset.db, compiler)))


class _Asked:
    """What Django's iterables want of a queryset and of its query."""

    def __init__(self, db: str, compiler: Any) -> None:
        self.db, self.query, self._compiler = db, self, compiler
        self._known_related_objects: dict[Any, Any] = {}

    def get_compiler(self, using: str) -> Any:
        return self._compiler


def _marks(value: Any) -> Any:
    """A value of the same kind that stands nowhere else."""
    if isinstance(value, tuple):
        return tuple(_marks(item) for item in value)
    if isinstance(value, uuid.UUID):
        return uuid.uuid4()
    if isinstance(value, str):
        return str(uuid.uuid4())
    raise TypeError(f"{value!r} is neither a UUID nor a text")


def _flat(values: Sequence[Any]) -> Iterator[Any]:
    for value in values:
        if isinstance(value, tuple):
            yield from value
        else:
            yield value
