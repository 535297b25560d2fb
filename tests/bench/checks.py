"""Final checks as rows, many at once: what they say matters here, not how they were made."""

from datetime import UTC, datetime, timedelta
from typing import Any

from plates.bench.models import FinalCheck, Match
from plates.lengths import INCH
from plates.measuring.uncertainty import READING_U_NM
from shop.people.models import Person

TENTH = INCH // 10_000
FIRST = datetime(2026, 2, 21, 9, tzinfo=UTC)


def final_checks(match: Match, *tenths: float, first: datetime = FIRST, **more: Any) -> list[FinalCheck]:
    """One check a day from ``first`` on, each with this residual in tenths of a thou."""
    person: Person = more.pop("person", match.person)
    method = more.pop("method", "feeler")
    common = {
        "shop": match.shop,
        "match": match,
        "person": person,
        "method": method,
        "asked_method": method,
        "u_nm": READING_U_NM[method],
        "u_reading_nm": READING_U_NM[method],
        "u_moves_nm": 0.0,
        "predicted_nm": 500 * TENTH,
        "in_window": True,
        **more,
    }
    rows = []
    for day, value in enumerate(tenths):
        found_nm = 500 * TENTH + round(value * TENTH)
        figures = {"clearance_nm": found_nm, "as_read_nm": found_nm, "residual_nm": round(value * TENTH)}
        rows.append(FinalCheck(at=first + timedelta(days=day), readings=["50 thou"] * 3, **common, **figures))
    return FinalCheck.objects.bulk_create(rows)
