"""A pack question as asked, and the problem that the kernel solves: spec, stack, readings and shelf put together."""

import itertools
import math
import uuid
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from plates.catalogue.models import Slot, Spec
from plates.catalogue.selectors import nominal_tolerances
from plates.lengths import INCH
from plates.matching.problem import Installed, Pool, Problem
from plates.matching.problem import Slot as Place
from plates.measuring.uncertainty import MOVE_U_NM, reading_u_nm, rectangular_u_nm
from plates.stock.selectors import OnShelf, shelf

#: Unmarked plates of one kind and bin within this of the chosen one cannot be told apart from it.
ALIKE_NM = INCH // 1000
#: One step in the row of thicknesses, to begin with.
SIZE_NM = INCH // 1000
#: How far an unread new steel may be from its book size where no kind says (common practice, no source).
BOOK_TOLERANCE_NM = INCH * 25 // 10_000


@dataclass(frozen=True)
class Entry:
    """A plate in the pack as given with the question; ``at_book`` when it was not read but stands at its nominal."""

    thickness_nm: int
    must_go: bool = False
    at_book: bool = False
    cone_nm: int | None = None
    hot_spot: bool = False
    u_nm: float = 0.0


@dataclass(frozen=True)
class Loose:
    """Plates that lie on the bench: an open kit, another pack of the job."""

    thickness_nm: int
    count: int = 1
    source: str = ""


@dataclass(frozen=True)
class Question:
    """What was asked, in nanometres; kept with the match, so that it can be asked again."""

    method: str
    texts: list[str]
    readings_nm: list[int]
    installed: dict[str, list[Entry]]
    bench: dict[str, list[Loose]] = field(default_factory=dict)
    left_out: list[str] = field(default_factory=list)
    max_changes: int | None = None
    used_ok: bool | None = None
    open_boxes: bool = False
    wave_state: str = ""
    wave_free_nm: int | None = None
    gauge: str = ""
    soaked: bool = False

    def to_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> "Question":
        installed = {name: [Entry(**entry) for entry in entries] for name, entries in data["installed"].items()}
        bench = {name: [Loose(**loose) for loose in rows] for name, rows in data["bench"].items()}
        return cls(**{**data, "installed": installed, "bench": bench})


@dataclass(frozen=True)
class Candidate:
    """One row of the pool: a plate on the shelf, or one on the bench."""

    thickness_nm: int
    plate: OnShelf | None = None
    source: str = ""


@dataclass(frozen=True)
class Posed:
    """The problem, and what its numbers stand for."""

    problem: Problem
    slots: list[Slot]
    candidates: list[Candidate]
    translated: bool


def wave_shift_nm(spec: Spec, slots: Sequence[Slot], question: Question) -> int:
    """What to add to the reading to bring it to the convention of the window.

    With n wave plates d = n × (free height - flat thickness). A gap reads d larger when the wave is flat, a height d
    larger when it is free. This wave plate's own measured free height beats the catalogue's.
    """
    if not spec.reads_wave or not question.wave_state or question.wave_state == spec.reads_wave:
        return 0
    count = sum(slot.count for slot in slots if slot.role == "wave") or 1
    free_nm = question.wave_free_nm or spec.wave_free_nm
    assert free_nm is not None and spec.wave_flat_nm is not None
    d_nm = count * (free_nm - spec.wave_flat_nm)
    larger = "flat" if spec.measures == "gap" else "free"
    return d_nm if spec.reads_wave == larger else -d_nm


def with_book_uncertainty(spec: Spec, slots: Sequence[Slot], question: Question) -> Question:
    """The question with the u of every plate that stands at book size: its tolerance / sqrt(3)."""
    wanted = {(slot.fit_id, slot.role, slot.nominal_nm) for slot in slots if slot.nominal_nm is not None}
    known = nominal_tolerances(spec.shop_id, wanted)

    def filled(slot: Slot, entry: Entry) -> Entry:
        if not entry.at_book:
            return entry
        tolerance_nm = known.get((slot.fit_id, slot.role, entry.thickness_nm), BOOK_TOLERANCE_NM)
        return replace(entry, u_nm=rectangular_u_nm(tolerance_nm))

    by_name = {slot.name: slot for slot in slots}
    installed = {
        name: [filled(by_name[name], entry) for entry in entries] for name, entries in question.installed.items()
    }
    return replace(question, installed=installed)


def pose(*, spec: Spec, question: Question, clearance_nm: int, sure: float, held_by: uuid.UUID | None = None) -> Posed:
    """Read the shelf, without locks, and put the problem together."""
    slots = list(spec.slots.all())
    open_slots = (
        [slot for slot in slots if _may_change(slot, question)] if spec.adjustable and not spec.set_only else []
    )
    candidates = _from_shelf(spec, open_slots, question, held_by)
    on_shelf = len(candidates)
    bench_rows: dict[str, list[int]] = defaultdict(list)
    for slot in open_slots:
        for loose in question.bench.get(slot.name, []):
            for _ in range(loose.count):
                bench_rows[slot.name].append(len(candidates))
                candidates.append(Candidate(loose.thickness_nm, None, loose.source))
    rows = [candidate.plate for candidate in candidates[:on_shelf] if candidate.plate]
    places = tuple(_place(slot, question, rows, bench_rows[slot.name]) for slot in open_slots)
    translated = wave_shift_nm(spec, slots, question) != 0
    problem = Problem(
        measures=spec.measures,
        clearance_nm=clearance_nm,
        low_nm=spec.low_nm,
        high_nm=spec.high_nm,
        target_nm=spec.target_nm,
        pool=_pool(candidates),
        slots=places,
        u_reading_nm=reading_u_nm(method=question.method, readings=len(question.readings_nm), translated=translated),
        u_move_nm=MOVE_U_NM,
        sure=sure,
        max_changes=question.max_changes,
    )
    return Posed(problem, open_slots, candidates, translated)


def _may_change(slot: Slot, question: Question) -> bool:
    """Only slots that the question names may change."""
    return (slot.swap or slot.extra > 0) and (slot.name in question.installed or slot.name in question.left_out)


def _fit_ids(slot: Slot) -> tuple[uuid.UUID, set[uuid.UUID]]:
    return slot.fit_id, {further.fit_id for further in slot.further_fits.all()}


def _from_shelf(spec: Spec, slots: Sequence[Slot], question: Question, held_by: uuid.UUID | None) -> list[Candidate]:
    if not slots:
        return []
    fits = {fit for slot in slots for own, further in [_fit_ids(slot)] for fit in {own, *further}}
    rows = shelf(
        shop_id=spec.shop_id,
        fits=sorted(fits),
        roles=sorted({slot.role for slot in slots}),
        used_ok=question.used_ok,
        boxes=question.open_boxes,
        held_by=held_by,
    )
    return [Candidate(row.thickness_nm, row) for row in rows if any(_serves(row, slot) for slot in slots)]


def _serves(row: OnShelf, slot: Slot) -> bool:
    """Interchange: same role, lined faces, and material and facing where the slot names them; the fit comes after."""
    return (
        row.role == slot.role
        and row.lined_faces == slot.lined_faces
        and (not slot.material or row.material == slot.material)
        and (not slot.facing or row.facing == slot.facing)
    )


def _place(slot: Slot, question: Question, rows: Sequence[OnShelf], bench_rows: list[int]) -> Place:
    own, further = _fit_ids(slot)
    serving = [(index, row) for index, row in enumerate(rows) if _serves(row, slot)]
    ordinary = [index for index, row in serving if row.fit_id == own] + bench_rows
    substitute = [index for index, row in serving if row.fit_id in further]
    entries = question.installed.get(slot.name, [])
    return Place(
        name=slot.name,
        installed=tuple(Installed(entry.thickness_nm, entry.must_go, entry.u_nm) for entry in entries),
        swap=slot.swap,
        empty=slot.count if slot.name in question.left_out else 0,
        extra=slot.extra,
        ordinary=np.array(ordinary, dtype=np.int64),
        substitute=np.array(substitute, dtype=np.int64),
    )


def _pool(candidates: Sequence[Candidate]) -> Pool:
    bench = itertools.count()  # numbered among themselves: a scan elsewhere never renames one
    sizes = Counter(_size(candidate) for candidate in candidates)
    return Pool(
        thickness_nm=np.array([candidate.thickness_nm for candidate in candidates], dtype=np.int64),
        u_nm=_own_u_nm(candidates),
        pieces=np.array([sizes[_size(candidate)] for candidate in candidates], dtype=np.int64),
        received=np.array([c.plate.received_us if c.plate else 0 for c in candidates], dtype=np.int64),
        keys=[str(c.plate.id) if c.plate else f"bench-{next(bench):06}" for c in candidates],
    )


def _size(candidate: Candidate) -> tuple[Any, ...]:
    plate = candidate.plate
    home = (plate.fit_id, plate.role) if plate else ("bench",)
    return (*home, (candidate.thickness_nm + SIZE_NM // 2) // SIZE_NM)


def _own_u_nm(candidates: Sequence[Candidate]) -> np.ndarray:
    """A plate's own u, with the spread of the plates of its bin that nobody can tell from it."""
    result = np.array([c.plate.u_nm if c.plate else 0.0 for c in candidates], dtype=np.float64)
    groups: dict[tuple[Any, ...], list[int]] = defaultdict(list)
    for row, candidate in enumerate(candidates):
        if candidate.plate and not candidate.plate.marked:
            groups[candidate.plate.kind_id, candidate.plate.bin].append(row)
    for rows in groups.values():
        thickness = np.array([candidates[row].thickness_nm for row in rows], dtype=np.int64)
        for row, spread in zip(rows, spread_of_alike(thickness), strict=True):
            result[row] = math.hypot(result[row], spread)
    return result


def spread_of_alike(thickness_nm: np.ndarray) -> np.ndarray:
    """For each plate of one kind and bin: the root mean square distance to those within 0.0010 in of it, in nm.

    Any of them may be the one that the hand takes, until the micrometer at the bin says which it was.
    """
    order = np.argsort(thickness_nm, kind="stable")
    t = thickness_nm[order] - thickness_nm.min()
    first, last = np.searchsorted(t, t - ALIKE_NM, "left"), np.searchsorted(t, t + ALIKE_NM, "right")
    # Whole numbers to the end: what else lies in the bin must not show in the last bit.
    one, two = (np.concatenate([[0], np.cumsum(power)]) for power in (t, t * t))
    n = last - first
    square = (two[last] - two[first]) - 2 * t * (one[last] - one[first]) + n * t * t
    result = np.empty(len(t))
    result[order] = np.sqrt(square / n)
    return result
