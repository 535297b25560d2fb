"""The budget of an option: every contribution to the uncertainty of its prediction, as a table and as one figure.

The kernel works with the same contributions in another form, for speed; both agree to the last digits: a test holds it.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from plates.matching.probability import conformance, sure_span
from plates.measuring.uncertainty import (
    MICROMETER_U_NM,
    RECTANGULAR,
    STACKED_U_NM,
    Part,
    combined_u_nm,
    micrometer_u_nm,
)


def stored(parts: Iterable[Part]) -> list[dict[str, Any]]:
    """Parts as they are kept with an option; :func:`budget_of` reads them back. Freedom is infinite in all of them."""
    return [{name: value for name, value in asdict(part).items() if name != "freedom"} for part in parts]


def budget_of(option: dict[str, Any], measures: str) -> list[Part]:
    """All parts of an option as it is stored: its reading's, then those of the plates that go out and in."""
    rows = [*option["out"], *option["in"]]
    parts = [Part(**part) for part in option["reading"]]
    # An option of before a shop could set these has them as they were.
    micrometer_nm = option.get("micrometer_u_nm", MICROMETER_U_NM)
    stacked_nm = option.get("stacked_u_nm", STACKED_U_NM)
    if rows:
        parts.append(Part("stacked against measured height", stacked_nm, times=len(rows)))
    sign = 1 if measures == "gap" else -1
    by_gauge = Counter(row["gauge"] for row in rows)
    unknown = sum(count for gauge, count in by_gauge.items() if gauge not in option["shared_u_nm"])
    if unknown:
        parts.append(Part("micrometer", micrometer_nm, times=unknown))
    for gauge, shared_u_nm in sorted(option["shared_u_nm"].items()):
        if not by_gauge[gauge]:
            continue
        alone = micrometer_u_nm(shared_u_nm, micrometer_nm)
        parts.append(Part(f"micrometer {gauge}, each reading by itself", alone, times=by_gauge[gauge]))
        net = sign * (_with(gauge, option["out"]) - _with(gauge, option["in"]))
        parts.append(Part(f"limit of error of {gauge}", shared_u_nm, RECTANGULAR, net, gauge))
    own = Counter(contribution for row in rows for contribution in _own(row))
    return parts + [Part(name, u_nm, shape, times) for (name, u_nm, shape), times in own.items()]


def _with(gauge: str, rows: list[dict[str, Any]]) -> int:
    return sum(row["gauge"] == gauge for row in rows)


def _own(row: dict[str, Any]) -> list[tuple[str, float, str]]:
    """What a plate adds beyond its micrometer, as (name, u in nm, distribution)."""
    found = []
    if row["unread_u_nm"]:
        name, shape = ("a plate at book size", RECTANGULAR) if row.get("at_book") else ("a plate not read", "normal")
        found.append((name, row["unread_u_nm"], shape))
    if row.get("alike_u_nm"):
        found.append((f"plates of {row['bin'] or 'no bin'} that nobody can tell apart", row["alike_u_nm"], "normal"))
    return found


def figures_refresh(option: dict[str, Any], *, measures: str, low_nm: int, high_nm: int, sure: float) -> None:
    """u, probability and confidence of an option after its rows have changed."""
    option["u_nm"] = combined_u_nm(budget_of(option, measures))
    option["probability"] = conformance(option["predicted_nm"], option["u_nm"], low_nm, high_nm)
    option["confidence"] = "sure" if option["probability"] >= sure else "marginal"
    option["guard_nm"] = guard_band_nm(option["u_nm"], low_nm, high_nm, sure)


def guard_band_nm(u_nm: float, low_nm: int, high_nm: int, sure: float) -> int | None:
    """How far inside its window a prediction must lie to be sure (JCGM 106:2012, clause 8); None: nowhere."""
    span = sure_span(u_nm, low_nm, high_nm, sure)
    return span and span[0] - low_nm
