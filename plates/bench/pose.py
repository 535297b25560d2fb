"""The problem that the kernel solves: spec, stack, readings, shelf and bench put together."""

import uuid
from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plates.bench.lying import Lying
from plates.bench.pool import Whole, alike_u_nm, alone_u_nm, coded, pool_of
from plates.bench.question import Entry, Loose, Question, may_adjust, may_change, wave_shift_nm
from plates.bench.room import stays_of_gauge, stays_parts
from plates.bench.stack_limits import limited_splines, limited_spread, of_size, sizes_of
from plates.catalogue.spec_models import Slot, Spec
from plates.matching.problem import Installed, Pool, Problem
from plates.matching.problem import Slot as Place
from plates.measuring.gauges import shared_errors
from plates.measuring.uncertainty import (
    Figures,
    Part,
    combined_u_nm,
    mean_parts,
    reading_parts,
)
from plates.stock.selectors import Interchange, OnShelf, shelf


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
    #: The budget of the reading, the shared error of every gauge that is registered, in nm, and what a plate adds.
    reading: list[Part]
    shared_u_nm: dict[str, float]
    figures: Figures


@dataclass(frozen=True)
class Asked:
    """One pack question to be posed. ``lying``: what came out of other packs for this one's job. Plates held by
    ``held_by``, and for the matches ``let_in``, count as on the shelf.
    """

    spec: Spec
    question: Question
    clearance_nm: int
    held_by: uuid.UUID | None = None
    lying: Sequence[Lying] = ()
    let_in: Collection[uuid.UUID] = frozenset()

    @property
    def open_slots(self) -> list[Slot]:
        """The slots whose plates may change."""
        if not may_adjust(self.spec, self.question):
            return []
        return [slot for slot in self.spec.slots.all() if may_change(slot, self.question)]

    @property
    def loose(self) -> list[Loose]:
        """Every plate on the bench that was given by hand, slot by slot."""
        return [
            one for slot in self.open_slots for one in self.question.bench.get(slot.name, []) for _ in range(one.count)
        ]


def pose(asked: Asked, *, sure: float, measured: Mapping[str, float]) -> Posed:
    """Read the shelf, without locks, and put the problem together. ``measured``: what the shop has found for u of its
    methods, in nm.
    """
    return pose_together([asked], sure=sure, measured=measured)[0]


def pose_together(asked: Sequence[Asked], *, sure: float, measured: Mapping[str, float]) -> list[Posed]:
    """Several questions of one shop over one reading of the shelf: their problems share one pool, and number its gauges
    alike. The shelf is read once for all that ask alike (used ones, boxes), and once for each that holds plates.
    """
    of_each = _shelves(asked)
    on_shelf = list({row.id: row for rows in of_each for row in rows}.values())
    off_bench = list({one.key: one for each in asked for one in each.lying}.values())
    rows: list[OnShelf | Lying] = [*on_shelf, *off_bench]
    loose = [each.loose for each in asked]
    all_loose = [one for some in loose for one in some]
    classes, class_of = coded(row.interchange for row in rows)
    codes = {row.gauge for row in rows} | {plate.gauge for each in asked for plate in each.question.plates()}
    read_with = {gauge for each in asked for gauge in (*each.question.gauges(), *stays_of_gauge(each.question))}
    shared = shared_errors(asked[0].spec.shop_id, codes | read_with)
    gauges = sorted(codes & shared.keys())
    number = {code: row for row, code in enumerate(gauges)}
    alike = np.concatenate([alike_u_nm(on_shelf), np.zeros(len(off_bench) + len(all_loose))])
    figures = asked[0].question.figures  # one plate adds the same to each of the questions
    pool = pool_of(rows, class_of, all_loose, alike, shared, number, figures)
    candidates: list[OnShelf | Lying | Loose] = [*rows, *all_loose]
    on_hand = _OnHand(pool, candidates, off_bench, classes, class_of, alike, shared, number, figures)
    found, first = [], len(rows)
    for each, mine, some in zip(asked, of_each, loose, strict=True):
        ids = {row.id for row in mine}
        has = np.array([len(ids) == len(on_shelf) or row.id in ids for row in on_shelf], dtype=bool)
        found.append(_posed(each, on_hand, has, first, sure, measured))
        first += len(some)
    return found


@dataclass(frozen=True)
class _OnHand:
    """What there is for all questions: the pool, and what its rows are."""

    pool: Pool
    candidates: list[OnShelf | Lying | Loose]
    off_bench: list[Lying]
    classes: list[Hashable]
    class_of: Whole
    alike_u_nm: NDArray[np.float64]
    shared_u_nm: dict[str, float]
    number: dict[str, int]
    figures: Figures


def _posed(
    asked: Asked,
    on_hand: _OnHand,
    has: NDArray[np.bool_],
    first: int,
    sure: float,
    measured: Mapping[str, float],
) -> Posed:
    """One question over what there is: what it ``has`` of the shelf, its benches, and its loose ones from row ``first``
    on.
    """
    spec, question, shared, number = asked.spec, asked.question, on_hand.shared_u_nm, on_hand.number
    slots, open_slots, figures = list(spec.slots.all()), asked.open_slots, on_hand.figures
    entries = [question.installed.get(slot.name, []) for slot in open_slots]
    places = []
    for slot, installed in zip(open_slots, entries, strict=True):
        count = sum(one.count for one in question.bench.get(slot.name, []))
        bench = np.arange(first, first + count)
        first += count
        in_place = [
            Installed(
                entry.thickness_nm, entry.must_go, alone_u_nm(entry, shared, figures), number.get(entry.gauge, -1)
            )
            for entry in installed
        ]
        off_bench = [one in asked.lying and one.may_go(slot, question) for one in on_hand.off_bench]
        may_serve = np.append(has, np.array(off_bench, dtype=bool))
        places.append(_place(slot, question, in_place, on_hand, may_serve, bench))
    spread, beside = limited_spread(spec, slots, open_slots, question)
    reading = reading_parts_of(spec, question, measured, shared)
    stay = stays_of_gauge(question)
    # Where its gauge has read plates, too, its share of the reading stands with theirs, as do the plates that stay.
    of_plates = question.gauge in number and question.gauges() == {question.gauge}
    problem = Problem(
        measures=spec.measures,
        clearance_nm=asked.clearance_nm,
        low_nm=spec.low_nm,
        high_nm=spec.high_nm,
        target_nm=spec.target_nm,
        pool=on_hand.pool,
        slots=(*places, *beside),
        u_reading_nm=combined_u_nm(part for part in reading if not (part.shared and (of_plates or part.times < 0))),
        u_move_nm=figures.stacked_nm,
        sure=sure,
        max_changes=question.max_changes,
        u_gauge_nm=tuple(shared[code] for code in number),
        read_net=tuple(int(of_plates and code == question.gauge) - stay[code] for code in number),
        spread=spread,
        splines=limited_splines(spec, slots, open_slots, question),
    )
    return Posed(problem, open_slots, on_hand.candidates, entries, on_hand.alike_u_nm, reading, shared, figures)


def reading_parts_of(
    spec: Spec, question: Question, measured: Mapping[str, float], shared: Mapping[str, float]
) -> list[Part]:
    """The budget of the question's reading; of two that were averaged, the budget of their mean. Of an empty drum the
    plates that stay are part of it.
    """
    slots = list(spec.slots.all())
    translated = wave_shift_nm(spec, slots, question) != 0

    def parts(method: str, readings: int, gauge: str) -> list[Part]:
        return reading_parts(
            method=method,
            readings=readings,
            translated=translated,
            measured=measured,
            gauge=gauge,
            shared_u_nm=shared.get(gauge),
            figures=question.figures,
        )

    found = parts(question.method, len(question.readings_nm), question.gauge)
    if second := question.second:
        found = mean_parts(found, parts(second.method or question.method, len(second.readings_nm), second.gauge))
    return found + stays_parts(spec, slots, question, shared)


def fits_of(slots: Iterable[Slot]) -> list[uuid.UUID]:
    """The fits of these slots, the further proven ones too."""
    return sorted(set[uuid.UUID]().union(*(slot.fit_ids for slot in slots)))


def _shelves(asked: Sequence[Asked]) -> list[list[OnShelf]]:
    """What the shelf has for each question; equal ones for all that ask alike."""
    slots = [slot for each in asked for slot in each.open_slots]
    if not slots:
        return [[] for _ in asked]
    fits = fits_of(slots)
    most = sum(_most_in(slot, each.question) for each in asked for slot in each.open_slots)
    ways = [
        (each.question.used_ok, each.question.open_boxes, each.held_by, frozenset(each.let_in)) for each in asked
    ]
    found = {
        (used_ok, boxes, held_by, let_in): shelf(
            shop_id=asked[0].spec.shop_id,
            fits=fits,
            roles=sorted({slot.role for slot in slots}),
            used_ok=used_ok,
            most=most,
            boxes=boxes,
            held_by=held_by,
            let_in=let_in,
        )
        for used_ok, boxes, held_by, let_in in dict.fromkeys(ways)
    }
    return [found[way] for way in ways]


def _most_in(slot: Slot, question: Question) -> int:
    """How many plates can go into the slot at most."""
    emptied = slot.count if slot.name in question.left_out else 0
    return len(question.installed.get(slot.name, [])) + emptied + slot.extra


def serves(plate: Interchange, slot: Slot) -> bool:
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
        if serves(plate, slot)
        and plate.fit_id in slot.fit_ids
        and place.thinnest_nm <= thickness_nm
        and (place.thickest_nm is None or thickness_nm <= place.thickest_nm)
    )


def _place(
    slot: Slot,
    question: Question,
    installed: Sequence[Installed],
    on_hand: _OnHand,
    may_serve: NDArray[np.bool_],
    bench: Whole,
) -> Place:
    serving = [(code, c) for code, c in enumerate(on_hand.classes) if isinstance(c, Interchange) and serves(c, slot)]
    thickness_nm = on_hand.pool.thickness_nm
    own = [code for code, c in serving if c.fit_id == slot.fit_id]
    further = [code for code, c in serving if c.fit_id in slot.fit_ids - {slot.fit_id}]
    sizes = sizes_of(slot, question)

    def rows(codes: list[int]) -> Whole:
        return np.flatnonzero(np.isin(on_hand.class_of, codes) & may_serve).astype(np.int64)

    return Place(
        name=slot.name,
        installed=tuple(installed),
        swap=slot.swap and not question.room,  # what is named with an empty drum stays
        empty=slot.count if slot.name in question.left_out else 0,
        extra=max(0, slot.extra - max(0, len(installed) - slot.count)),  # what a pack has taken already counts
        ordinary=of_size(np.concatenate([rows(own), bench]), thickness_nm, sizes),
        substitute=of_size(rows(further), thickness_nm, sizes),
        thinnest_nm=sizes[0],
        thickest_nm=sizes[1],
    )
