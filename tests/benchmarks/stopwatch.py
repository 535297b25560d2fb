"""Where the processor time of a call goes: a stopwatch at each border between the layers of the service."""

import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from typing import Any

LAYERS = ("framework", "authentication", "body", "act", "kernel", "ORM", "reads", "writes", "commit", "answer")


class Stopwatch:
    """Processor time of this thread by layer, each without the layers that began within it."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = defaultdict(float)
        self._within: list[str] = []
        self._since = 0

    @contextmanager
    def layer(self, name: str) -> Iterator[None]:
        self._turn(name)
        try:
            yield
        finally:
            self._turn(None)

    def _turn(self, name: str | None) -> None:
        now = time.thread_time_ns()
        if self._within:
            self.spent[self._within[-1]] += 1e-6 * (now - self._since)
        if name is None:
            self._within.pop()
        else:
            self._within.append(name)
        self._since = time.thread_time_ns()

    def around(self, name: str, task: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*args: Any, **kwargs: Any) -> Any:
            with self.layer(name):
                return task(*args, **kwargs)

        return timed

    @contextmanager
    def borders(self) -> Iterator[None]:
        """A stopwatch at each border while this lasts."""
        from unittest.mock import patch

        from django.db import connection
        from django.db.models.query import QuerySet
        from django.db.models.sql.compiler import SQLCompiler
        from django.db.transaction import Atomic
        from django.template.base import Template
        from rest_framework.mixins import ListModelMixin, RetrieveModelMixin
        from rest_framework.response import Response

        from plates.bench import options
        from plates.bench.api import MatchRows
        from shop.api import ShopView
        from shop.once import Once
        from shop.rest import StrictJSONParser, TokenAuthentication

        def statement(execute: Any, sql: Any, *rest: Any) -> Any:
            read = str(sql).lstrip().startswith("SELECT")
            return self.around("reads" if read else "writes", execute)(sql, *rest)

        run = Once.run

        def once(own: Once, effect: Any, render: Any) -> Any:
            return run(own, self.around("act", effect), self.around("answer", render))

        borders: Sequence[tuple[Any, str, str]] = (
            (TokenAuthentication, "authenticate", "authentication"), (StrictJSONParser, "parse", "body"),
            (ShopView, "_raw", "body"), (ShopView, "body", "body"), (ShopView, "act", "act"), (MatchRows, "do", "act"),
            (options, "match", "kernel"), (QuerySet, "_fetch_all", "ORM"), (SQLCompiler, "execute_sql", "ORM"),
            (Atomic, "__enter__", "commit"), (Atomic, "__exit__", "commit"), (Template, "render", "answer"),
            (ListModelMixin, "list", "answer"), (RetrieveModelMixin, "retrieve", "answer"),
        )  # fmt: skip
        with ExitStack() as stack:
            for owner, name, layer in borders:
                stack.enter_context(patch.object(owner, name, self.around(layer, getattr(owner, name))))
            rendered = property(self.around("answer", vars(Response)["rendered_content"].fget))
            stack.enter_context(patch.object(Response, "rendered_content", rendered))
            stack.enter_context(patch.object(Once, "run", once))
            stack.enter_context(connection.execute_wrapper(statement))
            yield
