"""From the kernel's answer to options as they are stored, shown and compared: in nanometres and codes."""

import math
from typing import Any

from plates.bench.budget import guard_band_nm, stored
from plates.bench.lying import Lying
from plates.bench.pose import Posed
from plates.bench.question import Entry
from plates.matching.problem import Exchange, Shortfall
from plates.matching.search import match
from plates.stock.selectors import OnShelf


def searched(posed: Posed) -> tuple[list[dict[str, Any]], Shortfall | None]:
    """Options in their order, not numbered yet, and the shortfall where there is none."""
    answer = match(posed.problem)
    return [option_of(posed, exchange) for exchange in answer.options], answer.shortfall


def option_of(posed: Posed, exchange: Exchange) -> dict[str, Any]:
    """One option: figures in nm; ``in`` names the plate, its revision as seen, its bin and kind; ``places`` says of the
    slots that may change where an odd one goes. ``reading`` and
    what follows are what :func:`plates.bench.budget.budget_of` needs beside the plates.
    """
    problem = posed.problem
    ins = [_in(posed, slot, row) for slot, row in exchange.ins]
    outs = [
        {"slot": posed.slots[slot].name, "row": row, **_out(posed.entries[slot][row])} for slot, row in exchange.outs
    ]
    moved = {row["gauge"] for row in (*ins, *outs)}
    coned_nm = sum(row["cone_nm"] or 0 for row in outs)
    return {
        "way": exchange.way.name.lower(),
        "changes": exchange.changes,
        "predicted_nm": exchange.predicted_nm,
        "up_to_nm": exchange.predicted_nm + (coned_nm if problem.measures == "gap" else -coned_nm),
        "u_nm": exchange.u_nm,
        "probability": exchange.probability,
        "confidence": "sure" if exchange.sure else "marginal",
        "guard_nm": guard_band_nm(exchange.u_nm, problem.low_nm, problem.high_nm, problem.sure),
        "out": outs,
        "in": ins,
        "places": {slot.name: slot.place for slot in posed.slots if slot.place},
        "reading": stored(posed.reading),
        "shared_u_nm": {gauge: u_nm for gauge, u_nm in posed.shared_u_nm.items() if gauge in moved},
        "micrometer_u_nm": posed.figures.micrometer_nm,
        "stacked_u_nm": posed.figures.stacked_nm,
    }


def _out(entry: Entry) -> dict[str, Any]:
    return {
        "thickness_nm": entry.thickness_nm,
        "unread_u_nm": entry.u_nm,
        "at_book": entry.at_book,
        "cone_nm": entry.cone_nm,
        "hot_spot": entry.hot_spot,
        "gauge": entry.gauge,
        "plate": entry.plate or None,
        "fit": entry.fit,
        "read_at": entry.read_at,
    }


def _in(posed: Posed, slot: int, row: int) -> dict[str, Any]:
    name, candidate = posed.slots[slot].name, posed.candidates[row]
    if isinstance(candidate, OnShelf):
        unread_u_nm, alike_u_nm = candidate.u_nm, float(posed.alike_u_nm[row])
        return {
            "slot": name,
            "plate": str(candidate.id),
            "revision": candidate.revision,
            "bin": candidate.bin,
            "kind": candidate.kind,
            "thickness_nm": candidate.thickness_nm,
            "u_nm": math.hypot(unread_u_nm, alike_u_nm),
            "unread_u_nm": unread_u_nm,
            "alike_u_nm": alike_u_nm,
            "gauge": candidate.gauge,
            "source": "",
            "out_of": None,
        }
    if isinstance(candidate, Lying):
        return {
            "slot": name,
            "plate": candidate.plate,
            "revision": candidate.revision,
            "bin": None,
            "kind": candidate.kind,
            "thickness_nm": candidate.thickness_nm,
            "u_nm": candidate.u_nm,
            "unread_u_nm": candidate.u_nm,
            "at_book": candidate.at_book,
            "alike_u_nm": 0.0,
            "gauge": candidate.gauge,
            "source": candidate.source,
            "out_of": candidate.out_of,
        }
    nowhere = dict.fromkeys(("plate", "revision", "bin", "kind", "out_of"))
    certain = dict.fromkeys(("u_nm", "unread_u_nm", "alike_u_nm"), 0.0)
    return {
        "slot": name,
        **nowhere,
        "thickness_nm": candidate.thickness_nm,
        **certain,
        "gauge": candidate.gauge,
        "source": candidate.source,
    }


def numbered(options: list[dict[str, Any]], first: int) -> list[dict[str, Any]]:
    """Numbers are never used again within a match: fresh options continue the count."""
    return [{"number": number, **option} for number, option in enumerate(options, start=first)]


def figures(option: dict[str, Any]) -> tuple[Any, ...]:
    """Everything a person sees of an option; two options equal in this differ only in which like piece they name."""
    ins = sorted(
        (row["slot"], row["thickness_nm"], row["bin"] or "", row["kind"] or "", row["source"]) for row in option["in"]
    )
    outs = sorted((row["slot"], row["thickness_nm"]) for row in option["out"])
    names = ("way", "changes", "predicted_nm", "u_nm", "probability", "confidence")
    return (*(option[name] for name in names), tuple(ins), tuple(outs))


#: What is kept of the reachable exchange nearest to the target.
NEAREST = ("predicted_nm", "u_nm", "way", "changes", "out", "in")


def shortfall_of(posed: Posed, shortfall: Shortfall) -> dict[str, Any]:
    """What the shelf could not answer, in nanometres."""
    nearest = option_of(posed, shortfall.nearest) if shortfall.nearest else None
    held = not posed.slots
    if held:
        reason = "The question names no slot whose plates may be exchanged: give the installed plates of one."
    elif not posed.candidates:
        reason = "Nothing on the shelf goes into the slots that may change."
    else:
        most = posed.problem.max_changes
        few = "" if most is None else f" of at most {most} change{'' if most == 1 else 's'}"
        reason = f"No exchange{few} with what is on the shelf brings this pack into its window."
    return {
        "reason": reason,
        "nearest": nearest and {name: nearest[name] for name in NEAREST},
        "would_close": [
            {
                "slot": posed.slots[row.slot].name,
                "fit": posed.slots[row.slot].fit.code,
                "role": posed.slots[row.slot].role,
                "count": row.count,
                "from_nm": row.from_nm,
                "to_nm": row.to_nm,
            }
            for row in shortfall.would_close
        ],
    }
