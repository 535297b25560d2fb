"""Where a plate of another thickness than its like goes in the stack, as the spec says."""

from typing import Any

from plates.bench.pool import ALIKE_NM


def odd_ones(question: dict[str, Any], option: dict[str, Any]) -> list[dict[str, Any]]:
    """Of a stored question and one of its options: each slot that then holds clearly different plates and has a place
    for an odd one, as slot, place and ``differ_nm``, by how much they differ.
    """
    found = []
    gone = {(row["slot"], row["row"]) for row in option["out"]}
    for slot, place in option.get("places", {}).items():
        entries = question["installed"].get(slot, [])
        stays = [entry["thickness_nm"] for row, entry in enumerate(entries) if (slot, row) not in gone]
        all_nm = stays + [row["thickness_nm"] for row in option["in"] if row["slot"] == slot]
        if all_nm and max(all_nm) - min(all_nm) > ALIKE_NM:
            found.append({"slot": slot, "place": place, "differ_nm": max(all_nm) - min(all_nm)})
    return found
