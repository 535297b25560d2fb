"""The problem that the kernel solves: spec, stack, readings, shelf and bench put together."""

import math
import uuid
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plates.bench.lying import Lying
from plates.bench.question import Entry, Loose, Question, may_adjust, wave_shift_nm
from plates.bench.stack_limits import limited_room, limited_spread, of_size, sizes_of
from plates.catalogue.models import Slot, Spec
from plates.lengths import INCH
from plates.matching.problem import Installed, Pool, Problem
from plates.matching.problem import Slot as Place
from plates.measuring.gauges import shared_errors
from plates.measuring.uncertainty import (
    STACKED_U_NM,
    Part,
    combined_u_nm,
    mean_parts,
    micrometer_u_nm,
    reading_parts,
)
from plates.stock.selectors import Interchange, OnShelf, shelf

Whole = NDArray[np.int64]

#: Unmarked plates of one kind and bin within this of the chosen one cannot be told apart from it.
ALIKE_NM = INCH // 1000
#: One step in the row of thicknesses, to begin with; a size is centred on it.
SIZE_NM = INCH // 1000


@dataclass(frozen=True)
class Posed:
    """The problem, and what its rows stand for: plates on the shelf, out of other packs, then loose ones given by hand.
    """

    problem: Problem
    slots: list[Slot]
    candidates: list[OnShelf | Lying | Loose]
    #: Of each slot, what lies in it; of each candidate, the spread of the plates that nobody can tell from it.
    entries: list[list[Entry]]
    alike_u_nm: NDArray[np.float64]
    #: The budget of the reading, and the shared error of every gauge that is registered, in nm.
    reading: list[Part]
    shared_u_nm: dict[str, float]


def pose(
    *,
    spec: Spec,
    question: Question,
    clearance_nm: int,
    sure: float,
    measured: Mapping[str, float],
    held_by: uuid.UUID | None = None,
    lying: Sequence[Lying] = (),
) -> Posed:
    """Read the shelf, without locks, and put the problem together. ``measured``: what the shop has found for u of its
    methods, in nm; ``lying``: what came out of other packs for this one's job.
    """
    slots = list(spec.slots.all())
    open_slots = [slot for slot in slots if _may_change(slot, question)] if may_adjust(spec, question) else []
    on_shelf = _shelf(spec, open_slots, question, held_by)
    rows: list[OnShelf | Lying] = [*on_shelf, *lying]
    classes, class_of = _coded(row.interchange for row in rows)
    entries = [question.installed.get(slot.name, []) for slot in open_slots]
    loose = [one for slot in open_slots for one in question.bench.get(slot.name, []) for _ in range(one.count)]
    codes = {row.gauge for row in rows} | {plate.gauge for plate in question.plates()}
    shared = shared_errors(spec.shop_id, {*codes, *question.gauges()})
    gauges = sorted(codes & shared.keys())
    number = {code: row for row, code in enumerate(gauges)}
    alike = np.concatenate([_alike_u_nm(on_shelf), np.zeros(len(rows) - len(on_shelf) + len(loose))])
    pool = _pool(rows, class_of, loose, alike, shared, number)
    places, first = [], len(rows)
    for slot, installed in zip(open_slots, entries, strict=True):
        count = sum(one.count for one in question.bench.get(slot.name, []))
        bench = np.arange(first, first + count)
        first += count
        in_place = [
            Installed(entry.thickness_nm, entry.must_go, _alone_u_nm(entry, shared), number.get(entry.gauge, -1))
            for entry in installed
        ]
        barred = [row for row, one in enumerate(lying, len(on_shelf)) if not one.may_go(slot, question)]
        places.append(_place(slot, question, in_place, classes, class_of, barred, bench, pool.thickness_nm))
    spread, beside = limited_spread(spec, slots, open_slots, question)
    reading = reading_parts_of(spec, question, measured, shared)
    # Where it has read plates, too, its share of the reading stands with theirs.
    of_plates = question.gauge in number and question.gauges() == {question.gauge}
    problem = Problem(
        measures=spec.measures,
        clearance_nm=clearance_nm,
        low_nm=spec.low_nm,
        high_nm=spec.high_nm,
        target_nm=spec.target_nm,
        pool=pool,
        slots=(*places, *beside),
        u_reading_nm=combined_u_nm(part for part in reading if not (of_plates and part.shared)),
        u_move_nm=STACKED_U_NM,
        sure=sure,
        max_changes=question.max_changes,
        u_gauge_nm=tuple(shared[code] for code in gauges),
        reading_gauge=number[question.gauge] if of_plates else None,
        spread=spread,
        room=limited_room(spec, slots, open_slots, question),
    )
    return Posed(problem, open_slots, [*rows, *loose], entries, alike, reading, shared)


def reading_parts_of(
    spec: Spec, question: Question, measured: Mapping[str, float], shared: Mapping[str, float]
) -> list[Part]:
    """The budget of the question's reading; of two that were averaged, the budget of their mean."""
    translated = wave_shift_nm(spec, list(spec.slots.all()), question) != 0

    def parts(method: str, readings: int, gauge: str) -> list[Part]:
        return reading_parts(
            method=method,
            readings=readings,
            translated=translated,
            measured=measured,
            gauge=gauge,
            shared_u_nm=shared.get(gauge),
        )

    first = parts(question.method, len(question.readings_nm), question.gauge)
    if (second := question.second) is None:
        return first
    return mean_parts(first, parts(second.method or question.method, len(second.readings_nm), second.gauge))


def _alone_u_nm(plate: OnShelf | Lying | Loose | Entry, shared: Mapping[str, float]) -> float:
    """u of a plate by itself: of its reading, and of what was not read."""
    return math.hypot(micrometer_u_nm(shared.get(plate.gauge)), plate.u_nm)


def _may_change(slot: Slot, question: Question) -> bool:
    """Only slots that the question names may change."""
    return (slot.swap or slot.extra > 0) and (slot.name in question.installed or slot.name in question.left_out)


def _further(slot: Slot) -> set[uuid.UUID]:
    return {further.fit_id for further in slot.further_fits.all()}


def _shelf(spec: Spec, slots: Sequence[Slot], question: Question, held_by: uuid.UUID | None) -> list[OnShelf]:
    if not slots:
        return []
    return shelf(
        shop_id=spec.shop_id,
        fits=sorted({fit for slot in slots for fit in (slot.fit_id, *_further(slot))}),
        roles=sorted({slot.role for slot in slots}),
        used_ok=question.used_ok,
        most=sum(_room_for(slot, question) for slot in slots),
        boxes=question.open_boxes,
        held_by=held_by,
    )


def _room_for(slot: Slot, question: Question) -> int:
    """How many plates can go into the slot at most."""
    emptied = slot.count if slot.name in question.left_out else 0
    return len(question.installed.get(slot.name, [])) + emptied + slot.extra


def _coded(values: Iterable[Hashable]) -> tuple[list[Hashable], Whole]:
    """The distinct values, and for each value its row among them."""
    codes: dict[Hashable, int] = {}
    rows = [codes.setdefault(value, len(codes)) for value in values]
    return list(codes), np.array(rows, dtype=np.int64)


def _serves(plate: Interchange, slot: Slot) -> bool:
    """Interchange: same role, lined faces, and material and facing where the slot names them; the fit comes after."""
    return (
        plate.role == slot.role
        and plate.lined_faces == slot.lined_faces
        and (not slot.material or plate.material == slot.material)
        and (not slot.facing or plate.facing == slot.facing)
    )


def takers_of(posed: Posed, plate: Interchange, thickness_nm: int) -> tuple[int, ...]:
    """The numbers of the slots that such a plate could go into, by their own fit or by a further one."""
    return tuple(
        number
        for number, (slot, place) in enumerate(zip(posed.slots, posed.problem.slots, strict=False))
        if _serves(plate, slot)
        and plate.fit_id in {slot.fit_id, *_further(slot)}
        and place.thinnest_nm <= thickness_nm
        and (place.thickest_nm is None or thickness_nm <= place.thickest_nm)
    )


def _place(
    slot: Slot,
    question: Question,
    installed: Sequence[Installed],
    classes: Sequence[Hashable],
    class_of: Whole,
    barred: Sequence[int],
    bench: Whole,
    thickness_nm: Whole,
) -> Place:
    serving = [(code, c) for code, c in enumerate(classes) if isinstance(c, Interchange) and _serves(c, slot)]
    further = _further(slot)
    own = [code for code, c in serving if c.fit_id == slot.fit_id]
    sizes = sizes_of(slot, question)

    def rows(codes: list[int]) -> Whole:
        return np.setdiff1d(np.flatnonzero(np.isin(class_of, codes)), barred).astype(np.int64)

    return Place(
        name=slot.name,
        installed=tuple(installed),
        swap=slot.swap,
        empty=slot.count if slot.name in question.left_out else 0,
        extra=max(0, slot.extra - max(0, len(installed) - slot.count)),  # what a pack has taken already counts
        ordinary=of_size(np.concatenate([rows(own), bench]), thickness_nm, sizes),
        substitute=of_size(rows([code for code, c in serving if c.fit_id in further]), thickness_nm, sizes),
        thinnest_nm=sizes[0],
        thickest_nm=sizes[1],
    )


def _pool(
    rows: Sequence[OnShelf | Lying],
    class_of: Whole,
    loose: Sequence[Loose],
    alike: NDArray[np.float64],
    shared: Mapping[str, float],
    number: Mapping[str, int],
) -> Pool:
    thickness = np.array([row.thickness_nm for row in rows] + [one.thickness_nm for one in loose], dtype=np.int64)
    home = np.concatenate([class_of, np.full(len(loose), -1)])
    _, size = np.unique(np.stack([home, (thickness + SIZE_NM // 2) // SIZE_NM]), axis=1, return_inverse=True)
    stands_for = np.array([row.stands_for for row in rows] + [1] * len(loose), dtype=np.int64)
    count = np.zeros(len(thickness), np.int64)
    np.add.at(count, size.reshape(-1), stands_for)
    plates: list[OnShelf | Lying | Loose] = [*rows, *loose]
    alone = np.array([_alone_u_nm(one, shared) for one in plates], dtype=np.float64)
    return Pool(
        thickness_nm=thickness,
        u_nm=np.hypot(alone, alike),
        pieces=count[size.reshape(-1)] if len(thickness) else thickness,
        # What lies on the bench goes before an equal one on the shelf.
        received=np.array([one.received_s if isinstance(one, OnShelf) else 0 for one in plates], dtype=np.int64),
        # Loose plates are numbered among themselves: a scan elsewhere never renames one.
        keys=[
            *(str(row.id) if isinstance(row, OnShelf) else row.key for row in rows),
            *(f"bench-{number:06}" for number in range(len(loose))),
        ],
        gauge=np.array([number.get(one.gauge, -1) for one in plates], dtype=np.int64) if number else None,
    )


def _alike_u_nm(rows: Sequence[OnShelf]) -> NDArray[np.float64]:
    """Of each plate the spread of the plates of its bin that nobody can tell from it; a marked one is known."""
    found = np.zeros(len(rows))
    unmarked = [number for number, row in enumerate(rows) if not row.marked]
    _, group = _coded((rows[number].kind_id, rows[number].bin) for number in unmarked)
    thickness = np.array([rows[number].thickness_nm for number in unmarked], dtype=np.int64)
    stands_for = np.array([rows[number].stands_for for number in unmarked], dtype=np.int64)
    found[unmarked] = spread_of_alike(thickness, group, stands_for)
    return found


def spread_of_alike(thickness_nm: Whole, group: Whole, stands_for: Whole) -> NDArray[np.float64]:
    """For each plate: the root mean square distance to those of its group within 0.0010 in of it, in nm, where each row
    stands for so many plates of its thickness.

    Any of them may be the one that the hand takes, until the micrometer at the bin says which it was.
    """
    if not len(thickness_nm):
        return np.zeros(0)
    t = thickness_nm - thickness_nm.min()
    apart = int(t.max()) + 2 * ALIKE_NM  # one group after the other on one axis, too far apart to meet
    order = np.argsort(group * apart + t, kind="stable")
    axis, t, pieces = (group * apart + t)[order], t[order], stands_for[order]
    first, last = np.searchsorted(axis, axis - ALIKE_NM, "left"), np.searchsorted(axis, axis + ALIKE_NM, "right")
    # Whole numbers to the end: what else lies in the bin must not show in the last bit.
    sums = (np.concatenate([[0], np.cumsum(power)]) for power in (pieces, pieces * t, pieces * t * t))
    n, one, two = (cumulated[last] - cumulated[first] for cumulated in sums)
    square = two - 2 * t * one + n * t * t
    result = np.empty(len(t))
    result[order] = np.sqrt(square / n)
    return result
