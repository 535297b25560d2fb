"""Gauges of the demo shop: their checks, one that is overdue, one withdrawn, and one study."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import partial
from random import Random
from typing import Any

from plates.lengths import inch, length_parse
from plates.measuring.models import Gauge
from plates.measuring.services import gauge_check, gauge_make, gauge_study, gauge_withdraw
from shop.demo.crew import Crew

#: The gauge by which the bench reads a pack.
BY_METHOD = {"feeler": "F-1", "indicator": "I-1", "depth": "D-1", "air": ""}
COUNTER, BENCH = "M-1", "M-2"


def gauges_make(crew: Crew, rows: list[dict[str, Any]]) -> None:
    for row in rows:
        gauge_make(person=crew.owner, code=row["code"], type=row["type"], note=row["note"])


def checks(crew: Crew, now: datetime, rows: dict[str, Any]) -> Iterator[tuple[datetime, Callable[[], object]]]:
    """Every check on its day; who is withdrawn, is so after the last one."""
    for row in rows["gauges"]:
        for days, standard, texts in row["checks"]:
            at = now - timedelta(days=days)
            yield at, partial(_check, crew, row["code"], standard, texts, at)
        if "withdrawn" in row:
            yield at, partial(_withdraw, crew, row["code"], row["withdrawn"])
    study = rows["study"]
    at = now - timedelta(days=study["days_ago"])
    yield at, partial(_study, crew, study, at)


def _gauge(crew: Crew, code: str) -> Gauge:
    return Gauge.objects.get(shop_id=crew.owner.shop_id, code=code)


def _check(crew: Crew, code: str, standard: str, texts: list[str], at: datetime) -> None:
    gauge_check(
        person=crew.counter,
        gauge_id=_gauge(crew, code).pk,
        standard_nm=length_parse(standard),
        texts=texts,
        readings_nm=[length_parse(text) for text in texts],
        at=at,
    )


def _withdraw(crew: Crew, code: str, reason: str) -> None:
    gauge_withdraw(person=crew.owner, gauge_id=_gauge(crew, code).pk, reason=reason)


def _study(crew: Crew, row: dict[str, Any], at: datetime) -> None:
    """Plates from .066 to .080; each person has a touch of their own, some tenths of a tenth of a thou."""
    rng = Random("study")  # noqa: S311 - the same shop every time
    sizes = [660 + 20 * number + rng.uniform(-3, 3) for number in range(len(row["plates"]))]
    touch = [rng.gauss(0, 0.8) for _ in row["people"]]
    gauge_study(
        person=crew.owner,
        gauge=_gauge(crew, row["gauge"]),
        people=row["people"],
        plates=row["plates"],
        readings=[
            [[_typed(size + off + rng.gauss(0, 0.7)) for size in sizes] for _ in range(row["trials"])] for off in touch
        ],
        at=at,
    )


def _typed(tenths: float) -> tuple[str, int]:
    text = f"{inch(round(tenths) * 2_540)} in"
    return text, length_parse(text)
