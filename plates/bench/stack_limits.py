"""What a whole stack keeps to, as the kernel takes it: how much its steels differ, how high its plates stand."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from plates.bench.question import Entry, Question
from plates.catalogue.models import Role
from plates.catalogue.spec_models import Slot, Spec
from plates.matching.problem import Installed, Splines, Spread
from plates.matching.problem import Slot as Place


def sizes_of(slot: Slot, question: Question) -> tuple[int, int | None]:
    """The thinnest and the thickest plate that may go into the slot, in nm; 1 and None where nothing limits it."""
    thinnest_nm = None if "thinnest" in question.lifted else slot.thinnest_nm
    return thinnest_nm or 1, None if "thickest" in question.lifted else slot.thickest_nm


def of_size(
    rows: NDArray[np.int64], thickness_nm: NDArray[np.int64], sizes: tuple[int, int | None]
) -> NDArray[np.int64]:
    """Those of the rows of the pool that keep to these sizes."""
    thinnest_nm, thickest_nm = sizes
    good = thickness_nm[rows] >= thinnest_nm
    return rows[good] if thickest_nm is None else rows[good & (thickness_nm[rows] <= thickest_nm)]


def limited_spread(
    spec: Spec, slots: Sequence[Slot], open_slots: Sequence[Slot], question: Question
) -> tuple[Spread | None, list[Place]]:
    """The limit on how much the steels of the pack differ, and the steels beside the open slots, which only stand by.

    A slot that was not named stands at its book size, where it has one.
    """
    if spec.spread_nm is None or "spread" in question.lifted:
        return None, []
    beside = []
    for slot in slots:
        if slot.role == Role.STEEL and slot not in open_slots and (plates := _plates(slot, question)):
            beside.append(Place(slot.name, tuple(Installed(thickness_nm) for thickness_nm in plates)))
    steels = [number for number, slot in enumerate(open_slots) if slot.role == Role.STEEL]
    numbers = (*steels, *range(len(open_slots), len(open_slots) + len(beside)))
    return Spread(numbers, spec.spread_nm), beside


def limited_splines(
    spec: Spec, slots: Sequence[Slot], open_slots: Sequence[Slot], question: Question
) -> Splines | None:
    """By how much the plates below the snap ring may still grow; None where nothing limits it or it is not known how
    high they stand.
    """
    standing_nm = standing(slots, question)
    if spec.splines_nm is None or "splines" in question.lifted or standing_nm is None:
        return None
    inside = tuple(number for number, slot in enumerate(open_slots) if slot.role != Role.SNAP_RING)
    return Splines(inside, spec.splines_nm - standing_nm)


def standing(slots: Sequence[Slot], question: Question) -> int | None:
    """How high all plates but the snap rings stand as the pack is, in nm; None where one has no known thickness."""
    total_nm = 0
    for slot in slots:
        if slot.role != Role.SNAP_RING and slot.count and slot.name not in question.left_out:
            plates = _plates(slot, question)
            if plates is None:
                return None
            total_nm += sum(plates)
    return total_nm


def _plates(slot: Slot, question: Question) -> list[int] | None:
    entries: list[Entry] | None = question.installed.get(slot.name)
    if entries is not None:
        return [entry.thickness_nm for entry in entries]
    if slot.name in question.left_out:
        return []
    return None if slot.nominal_nm is None else [slot.nominal_nm] * slot.count
