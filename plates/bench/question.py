"""A pack question as asked, kept in nanometres."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from plates.catalogue.selectors import nominal_tolerances
from plates.catalogue.spec_models import Slot, Spec
from plates.lengths import INCH, both
from plates.measuring.uncertainty import TO_BEGIN_WITH, Figures, rectangular_u_nm
from shop.errors import Malformed, Refusal

#: How far an unread new steel may be from its book size where no kind says (common practice, no source).
BOOK_TOLERANCE_NM = INCH * 25 // 10_000


class WaveUnknown(Refusal):
    code, title = "wave_unknown", "The wave plate's figures are missing"


@dataclass(frozen=True)
class Entry:
    """A plate in the pack as given with the question; ``at_book`` when it was not read but stands at its nominal."""

    thickness_nm: int
    must_go: bool = False
    at_book: bool = False
    cone_nm: int | None = None
    hot_spot: bool = False
    u_nm: float = 0.0
    #: The gauge that it was read with.
    gauge: str = ""
    #: The id of the plate, where it is one of ours that went in before; else blank.
    plate: str = ""
    #: Of one that came off the bench of its job: its fit, by id, and when it was read; else blank.
    fit: str = ""
    read_at: str = ""
    #: Why it must go, where a limit of its slot says so.
    why: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class SecondReading:
    """The same pack read once more, by another person or with another gauge."""

    texts: list[str]
    readings_nm: list[int]
    person: str = ""
    method: str = ""
    gauge: str = ""


@dataclass(frozen=True)
class Loose:
    """Plates on the bench that were given by hand with the question, of an open kit say. What came out of another pack
    of the job is known, and no part of the question: see :mod:`plates.bench.lying`.
    """

    thickness_nm: int
    count: int = 1
    source: str = ""
    gauge: str = ""
    u_nm: float = 0.0


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
    #: The load that was on the stack, as the manual prescribes one.
    load: str = ""
    second: SecondReading | None = None
    #: The drum was empty: the reading is its room, and what is installed is what will stay in it.
    room: bool = False
    #: This used pack stays together, whatever its spec says.
    set_only: bool = False
    #: Rules of the spec that the owner lifted for this pack.
    lifted: list[str] = field(default_factory=list)
    #: Of the shop, when this was asked.
    figures: Figures = TO_BEGIN_WITH

    def gauges(self) -> set[str]:
        """The gauges of its readings; a blank one where nobody said."""
        return {self.gauge} if self.second is None else {self.gauge, self.second.gauge}

    def plates(self) -> Iterator[Entry | Loose]:
        """Everything in the pack that was named, and everything on the bench."""
        for entries in self.installed.values():
            yield from entries
        for loose in self.bench.values():
            yield from loose

    def to_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> "Question":
        installed = {name: [Entry(**entry) for entry in entries] for name, entries in data["installed"].items()}
        bench = {name: [Loose(**loose) for loose in rows] for name, rows in data["bench"].items()}
        second = SecondReading(**data["second"]) if data.get("second") else None
        figures = Figures(**data.get("figures", {}))
        return cls(**{**data, "second": second, "installed": installed, "bench": bench, "figures": figures})


@dataclass(frozen=True)
class PackReading:
    """One reading of an assembled pack: texts as typed with their lengths, and how it was read."""

    method: str
    texts: list[str]
    readings_nm: list[int]
    gauge: str = ""
    soaked: bool = False
    #: None: as the pack was read before.
    wave_state: str | None = None


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


def set_stays(spec: Spec, question: Question) -> bool:
    """Whether the plates stay together and are replaced whole."""
    return (spec.set_only or question.set_only) and "set_only" not in question.lifted


def may_adjust(spec: Spec, question: Question) -> bool:
    """Whether plates may be exchanged to set this pack."""
    return spec.adjustable and not set_stays(spec, question)


def may_change(slot: Slot, question: Question) -> bool:
    """Only slots that the question names may change."""
    return (slot.swap or slot.extra > 0) and (slot.name in question.installed or slot.name in question.left_out)


def bench_strays(spec: Spec, question: Question) -> dict[str, str]:
    """Of each slot that plates on the bench are given for and that takes none: why, and the way out."""
    strays = {}
    for slot in spec.slots.all():
        if not question.bench.get(slot.name):
            continue
        # In an empty drum what is not to be chosen stays, named or not, and takes a plate more at most.
        takes = slot.extra > 0 or slot.name in question.left_out if question.room else may_change(slot, question)
        if not spec.adjustable:
            strays[slot.name] = "This pack has no adjustment, so no plate on the bench goes in: leave them out."
        elif set_stays(spec, question):
            strays[slot.name] = "The plates of this pack stay together, so none on the bench goes in: leave them out."
        elif not (slot.swap or slot.extra):
            strays[slot.name] = (
                f"Slot {slot.name!r} is not one that is chosen to measure, so no plate on the bench goes in: leave "
                "them out."
            )
        elif not takes:
            strays[slot.name] = (
                f"What is in slot {slot.name!r} stays as it is, so no plate on the bench goes in: leave them out, or "
                "give the slot as one that may change."
            )
    return strays


def with_book_uncertainty(spec: Spec, slots: Sequence[Slot], question: Question) -> Question:
    """The question with the u of every plate that stands at book size: its tolerance / sqrt(3)."""
    if not any(entry.at_book for entries in question.installed.values() for entry in entries):
        return question
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


def limits_broken(slot: Slot, question: Question, entry: Entry) -> list[str]:
    """Which limits of its slot an old plate is beyond, in words."""
    why = []
    minimum_nm, cone_nm = slot.reuse_minimum_nm, slot.cone_limit_nm
    below = minimum_nm is not None and entry.thickness_nm < minimum_nm and not entry.at_book
    if minimum_nm is not None and below and "reuse_minimum" not in question.lifted:
        why.append(f"{both(entry.thickness_nm)} is below the reuse minimum {both(minimum_nm)}")
    if cone_nm is not None and (entry.cone_nm or 0) > cone_nm and "cone" not in question.lifted:
        why.append(f"coned by {both(entry.cone_nm or 0)}, where {both(cone_nm)} is allowed")
    if entry.hot_spot and slot.role == "steel":
        why.append("it has hot spots")
    return why


def with_limits(slots: Sequence[Slot], question: Question) -> Question:
    """The question with every plate marked that a limit of its slot takes out, and why."""
    by_name = {slot.name: slot for slot in slots}

    def judged(slot: Slot, entry: Entry) -> Entry:
        why = limits_broken(slot, question, entry)
        return replace(entry, why=why, must_go=entry.must_go or (bool(why) and slot.swap))

    installed = {
        name: [judged(by_name[name], entry) for entry in entries] for name, entries in question.installed.items()
    }
    return replace(question, installed=installed)


def with_zero_taken_off(question: Question, zero_nm: Mapping[str, int]) -> Question:
    """The question with the zero errors in force taken off the plates that were read with these gauges. Raises
    Malformed where nothing would be left.
    """

    def right(plate: Any) -> Any:
        off_nm = zero_nm.get(plate.gauge, 0)
        if not off_nm:
            return plate
        if plate.thickness_nm <= off_nm:
            raise Malformed(
                f"{both(plate.thickness_nm)} is nothing once the zero error of gauge {plate.gauge}, {both(off_nm)}, is "
                "taken off. Read it again.",
                [("/installed", "read it again")],
            )
        return replace(plate, thickness_nm=plate.thickness_nm - off_nm)

    return replace(
        question,
        installed={name: [right(entry) for entry in entries] for name, entries in question.installed.items()},
        bench={name: [right(one) for one in some] for name, some in question.bench.items()},
    )
