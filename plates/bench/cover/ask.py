"""From which readings today's shelf can close a pack. Nothing is stored and nothing is locked."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from plates.bench.ask import plates_read
from plates.bench.bodies import entries_of
from plates.bench.pose import Asked, Posed, pose, takers_of
from plates.bench.question import Entry, Question, may_adjust, with_limits
from plates.catalogue.selectors import kinds_of
from plates.catalogue.spec_models import Spec
from plates.matching.cover import Segment, cover, gains, losses
from plates.measuring.figures import figures_of
from plates.stock.holds import holds_run_out
from plates.stock.models import Plate
from plates.stock.selectors import Interchange, OnShelf
from shop.errors import Malformed, refusals
from shop.people.models import Person


@dataclass(frozen=True)
class Gain:
    """How many nanometres of the span one more plate of a size closes. ``slots``: those that would take it."""

    fit: str
    role: str
    thickness_nm: int
    slots: tuple[str, ...]
    gained_nm: int


@dataclass(frozen=True)
class Cover:
    """``segments``: gapless from one end of the span to the other. ``losses``: for each plate asked about, how many
    nanometres nothing closes any more once it is gone. ``gains``: the best first.
    """

    segments: list[Segment]
    losses: dict[uuid.UUID, int] = field(default_factory=dict)
    gains: list[Gain] = field(default_factory=list)

    @property
    def closed_nm(self) -> int:
        return sum(one.to_nm - one.from_nm + 1 for one in self.segments if one.changes is not None)


def cover_ask(
    *,
    person: Person,
    spec: Spec,
    installed: Mapping[str, list[Entry]],
    from_nm: int,
    to_nm: int,
    without: Sequence[uuid.UUID] = (),
    sizes: Sequence[int] | None = (),
) -> Cover:
    """The readings, in the convention of the window, that some exchange brings into it, sure or not.

    ``installed``: what lies in the slots; those left out stand at book size. ``without``: plates to ask about one by
    one. ``sizes``: thicknesses to ask about, None for all that are catalogued. Raises Malformed.
    """
    if from_nm > to_nm:
        raise Malformed("The span ends before it begins.", [("/to", "give a reading from /from upwards")])
    with refusals():
        holds_run_out(shop_id=person.shop_id)
    # Neither the method nor the clearance matters to what can be reached.
    question = Question("feeler", [], [], with_book_sizes(spec, installed), figures=figures_of(person.shop))
    question = with_limits(list(spec.slots.all()), plates_read(person, question)[0])
    posed = pose(Asked(spec, question, spec.target_nm), sure=person.shop.sure_level, measured={})
    return Cover(
        cover(posed.problem, from_nm, to_nm),
        _losses(posed, spec.shop_id, without, from_nm, to_nm) if without else {},
        [] if sizes is not None and not sizes else _gains(posed, spec.shop_id, sizes, from_nm, to_nm),
    )


def with_book_sizes(spec: Spec, installed: Mapping[str, list[Entry]]) -> dict[str, list[Entry]]:
    """Every slot that may change counts as named."""
    stack = dict(installed)
    if may_adjust(spec, Question("feeler", [], [], stack)):
        for slot in spec.slots.all():
            if (slot.swap or slot.extra) and slot.name not in stack:
                stack[slot.name] = entries_of(slot, None)
    return stack


def _losses(
    posed: Posed, shop_id: uuid.UUID, without: Sequence[uuid.UUID], from_nm: int, to_nm: int
) -> dict[uuid.UUID, int]:
    known = set(Plate.objects.filter(shop_id=shop_id, pk__in=without).values_list("pk", flat=True))
    if unknown := [(f"/without/{row}", "no plate has this id") for row, key in enumerate(without) if key not in known]:
        raise Malformed("Not all of these plates are plates of this shop.", unknown)
    row_of = {one.id: row for row, one in enumerate(posed.candidates) if isinstance(one, OnShelf)}
    lost_nm = losses(posed.problem, from_nm, to_nm, [row_of[key] for key in without if key in row_of])
    lost = dict(zip((key for key in without if key in row_of), lost_nm, strict=True))
    return {key: lost.get(key, 0) for key in without}


def _gains(posed: Posed, shop_id: uuid.UUID, sizes: Sequence[int] | None, from_nm: int, to_nm: int) -> list[Gain]:
    fits = {slot.fit_id: slot.fit.code for slot in posed.slots}
    if sizes is None:
        kinds = kinds_of(shop_id, set(fits), {slot.role for slot in posed.slots})
        asked = [
            (Interchange(kind.fit_id, kind.role, kind.lined_faces, kind.material, kind.facing), kind.nominal_nm)
            for kind in kinds
        ]
    else:
        own = [
            Interchange(slot.fit_id, slot.role, slot.lined_faces, slot.material, slot.facing) for slot in posed.slots
        ]
        asked = [(plate, thickness_nm) for thickness_nm in sizes for plate in own]
    found = {
        (plate.fit_id, plate.role, thickness_nm, takers)
        for plate, thickness_nm in asked
        if (takers := takers_of(posed, plate, thickness_nm))
    }
    rows = sorted(found, key=lambda row: (row[2], row[3], row[1], fits[row[0]]))
    gained = gains(posed.problem, from_nm, to_nm, [(thickness_nm, takers) for _, _, thickness_nm, takers in rows])
    listed = [
        Gain(fits[fit_id], role, thickness_nm, tuple(posed.slots[number].name for number in takers), gained_nm)
        for (fit_id, role, thickness_nm, takers), gained_nm in zip(rows, gained, strict=True)
    ]
    return sorted(listed, key=lambda one: -one.gained_nm)
