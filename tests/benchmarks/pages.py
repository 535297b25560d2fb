"""What every page of the counter weighs, asks of the database and costs, in the demo shop.

By hand: python -m tests.benchmarks.pages [--times 7]

Weight: the HTML with all of its stylesheets and scripts, as a browser without a cache fetches it. *Served*: as
production sends it, styles and scripts gzipped, the HTML as it is. Time: the whole way but the wire, median. The ratios
are to the lightest and to the fastest page of the same run.
"""

import argparse
import re
import statistics
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple
from urllib.parse import urlsplit

from whitenoise.compress import Compressor

from tests.benchmarks.scale import timed
from tests.benchmarks.shops import database, server

if TYPE_CHECKING:
    from django.test import Client

    from shop.people.models import Shop

_NEEDED = re.compile(r'<(?:link rel="stylesheet" href|script src)="/static/([^"?]+)')


class Weight(NamedTuple):
    """Bytes: of the HTML alone, with what it needs, and of both as they are served."""

    html: int
    whole: int
    served: int


def weight(html: bytes) -> Weight:
    """What a page weighs. Raises AssertionError where it needs a file that is not there, or no stylesheet."""
    from django.contrib.staticfiles.finders import find

    names = _NEEDED.findall(html.decode())
    assert any(name.endswith(".css") for name in names), "a page without a stylesheet"
    whole = served = len(html)
    for name in names:
        found = find(name)
        assert found, f"{name} is not there"
        file = Path(found).read_bytes()
        whole += len(file)
        served += len(Compressor.compress_gzip(file))
    return Weight(len(html), whole, served)


class Pages:
    """The pages of a furnished demo shop, each opened by whom it is for."""

    def __init__(self, shop: "Shop") -> None:
        from django.test import Client

        from shop.people.models import Person
        from tests.browser.every_page import every_page

        self.by = {who: Client() for who in ("owner", "bench", "locked", "nobody")}
        for who, username in (("owner", "tomas"), ("bench", "rosa"), ("locked", "tomas")):
            self.by[who].force_login(Person.objects.get(shop=shop, username=username))
        session = self.by["locked"].session
        session["seen"] -= 24 * 3600
        session.save()
        self.addresses = [(name, self._end(name, path)) for name, path in every_page(shop)]

    def client(self, name: str) -> "Client":
        from tests.browser.every_page import BY

        return self.by[BY.get(name, "owner")]

    def _end(self, name: str, path: str) -> str:
        """Where the page stands: some lead to themselves, with a query that is new each time."""
        chain = self.client(name).get(path, follow=True).redirect_chain
        end: str = chain[-1][0] if chain else path
        assert urlsplit(end).path == urlsplit(path).path, f"{name}: {path} leads to {end}"
        return end

    def html(self, name: str, path: str) -> bytes:
        """Raises AssertionError where the page does not open; a refusal may be one."""
        from tests.browser.every_page import BESIDE

        reply = self.client(name).get(path)
        assert reply.status_code == 200 or name in BESIDE, f"{name}: {path} answers {reply.status_code}"
        return bytes(reply.content)


class Row(NamedTuple):
    name: str
    weight: Weight
    queries: int
    ms: float


def measured(pages: Pages, times: int) -> list[Row]:
    from django.db import connection

    rows = []
    for name, path in pages.addresses:
        weighed = weight(pages.html(name, path))
        asked: list[str] = []
        with connection.execute_wrapper(partial(_noted, asked)):
            pages.html(name, path)
        took = [timed(lambda name=name, path=path: pages.html(name, path))[0] for _ in range(times)]
        rows.append(Row(name, weighed, len(asked), statistics.median(took)))
    return rows


def _noted(asked: list[str], execute: Any, sql: str, *rest: Any) -> Any:
    asked.append(sql)
    return execute(sql, *rest)


def table(rows: list[Row]) -> None:
    lightest, fastest = min(row.weight.whole for row in rows), min(row.ms for row in rows)
    heads = ("page", "HTML, kB", "whole, kB", "ratio", "served, kB", "queries", "ms", "ratio")
    print("{:>20} {:>9} {:>9} {:>6} {:>10} {:>7} {:>7} {:>6}".format(*heads))
    for row in sorted(rows, key=lambda row: -row.weight.whole):
        html, whole, served = (size / 1000 for size in row.weight)
        print(
            f"{row.name:>20} {html:9.1f} {whole:9.1f} {row.weight.whole / lightest:6.2f} {served:10.1f} "
            f"{row.queries:7} {row.ms:7.1f} {row.ms / fastest:6.1f}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=7)
    asked = parser.parse_args()
    with server() as urls, database(urls, "pages") as own:
        from django.db import connections
        from django.utils import timezone

        from shop.demo import demo_load
        from tests.browser.every_page import furnish
        from tests.conftest import pointed_at

        with pointed_at(own):
            shop = demo_load(timezone.now())
            furnish(shop)
            with connections["owner"].cursor() as cursor:
                cursor.execute("ANALYZE")
            table(measured(Pages(shop), asked.times))


if __name__ == "__main__":
    main()
