"""How the API shows what hands did with the plates of a match: what was read at the bin, and what came out."""

from typing import Any

from plates.bench.models import Match
from plates.bench.slip.outs import outs_open
from plates.lengths import length_json


def offered(match: Match) -> list[dict[str, Any]]:
    """The options that stand; of one that is built the figures are those of the plates that really left their bins."""
    built = match.built_now
    return [built if built and built["number"] == option["number"] else option for option in match.standing]


def pulled_json(row: dict[str, Any]) -> dict[str, Any] | None:
    """What a row of the slip was read as when it left its bin; None while nobody read it."""
    pulled = row.get("pulled")
    if not pulled:
        return None
    return {**{name: pulled[name] for name in ("texts", "by", "at")}, "thickness": length_json(pulled["thickness_nm"])}


def outs_json(match: Match) -> list[dict[str, Any]]:
    """What came out, each with its fate, or null while it has none."""
    told = [
        {
            "slot": one["slot"],
            "thickness": length_json(one["thickness_nm"]),
            **{name: one[name] for name in ("fate", "plate", "bin", "by", "at")},
            "to_job": one["to_job"] or None,
            "used_by": one.get("used_by"),
        }
        for one in match.outs
    ]
    untold = dict.fromkeys(("fate", "plate", "bin", "by", "at", "to_job", "used_by"))
    left = [
        {"slot": row["slot"], "thickness": length_json(row["thickness_nm"]), **untold} for row in outs_open(match)
    ]
    return told + left
