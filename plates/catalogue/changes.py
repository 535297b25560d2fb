"""What a revision of a pack spec changed: each figure as it was and as it is, in words."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from plates.catalogue.hydraulics import LENGTHS, hydraulics_of
from plates.catalogue.spec_models import LIFTABLE, SOAKS, WAVE_STATES, Slot, Spec
from plates.lengths import both, exact_text
from plates.measuring.uncertainty import METHODS

NOTHING = "not given"


@dataclass(frozen=True)
class Change:
    """``what`` of the pack spec, as it was and as it is."""

    what: str
    was: str
    now: str


#: A figure: a length in nanometres, or what is said of anything else; None where nothing is.
Figure = int | str | None


def changes(was: Spec, now: Spec) -> list[Change]:
    """What differs between two revisions, in the order of the page; empty where nothing does. Both with their slots."""
    return [
        *_between("", _of_spec(was), _of_spec(now), now.unit),
        *_between("Hydraulics, ", _of_hydraulics(was), _of_hydraulics(now), now.unit),
        *_of_slots(list(was.slots.all()), list(now.slots.all()), now.unit),
    ]


def _between(of: str, was: Mapping[str, Figure], now: Mapping[str, Figure], unit: str) -> Iterator[Change]:
    for what in dict.fromkeys([*was, *now]):
        before, after = was.get(what), now.get(what)
        if before == after:
            continue
        texts = [_told(figure, unit) for figure in (before, after)]
        if isinstance(before, int) and isinstance(after, int) and texts[0] == texts[1]:  # finer than what is shown
            texts = [exact_text(figure, unit) for figure in (before, after)]
        yield Change(f"{of}{what}" if of else what[0].upper() + what[1:], *texts)


def _told(figure: Figure, unit: str) -> str:
    return both(figure, unit) if isinstance(figure, int) else figure or NOTHING


def _yes(said: bool) -> str:
    return "yes" if said else "no"


def _of_spec(spec: Spec) -> dict[str, Figure]:
    return {
        "title": spec.title,
        "measured as": spec.get_measures_display(),
        "low limit": spec.low_nm,
        "high limit": spec.high_nm,
        "target": spec.target_nm,
        "by": spec.reference or spec.get_source_display(),
        "unit that governs": spec.get_unit_display(),
        "lowest allowed, not to build to": spec.limit_low_nm,
        "highest allowed, not to build to": spec.limit_high_nm,
        "wave plate, free height": spec.wave_free_nm,
        "wave plate, flat thickness": spec.wave_flat_nm,
        "read with the wave plate": dict(WAVE_STATES).get(spec.reads_wave),
        "read by": dict(METHODS).get(spec.reads_method),
        "frictions when read": dict(SOAKS).get(spec.reads_soak),
        "load on the stack": spec.reads_load,
        "may be adjusted": _yes(spec.adjustable),
        "replaced as a set only": _yes(spec.set_only),
        "its steels differ by no more than": spec.spread_nm,
        "its plates stand no higher than": spec.splines_nm,
        "the owner may lift": "; ".join(words for rule, words in LIFTABLE.items() if rule in spec.liftable),
    }


def _of_hydraulics(spec: Spec) -> dict[str, Figure]:
    known = hydraulics_of(spec.hydraulics)
    lengths = {name: getattr(known, f"{name}_nm") for name in LENGTHS}
    said = lengths | {name: _written(given) for name, given in known.given.items()}
    return {name.replace("_", " "): figure for name, figure in said.items()}


def _written(given: Any) -> str:
    """A pressure that is printed in two units is kept as both, with the one that governs."""
    if not isinstance(given, dict):
        return str(given)
    governs = f", {given['governs']} governs" if "governs" in given else ""
    return f"{given['value']}, {given['also']}{governs}"


def _of_slots(was: list[Slot], now: list[Slot], unit: str) -> Iterator[Change]:
    before, after = ({slot.name: slot for slot in slots} for slots in (was, now))
    for name in dict.fromkeys([*before, *after]):
        if name not in after:
            yield Change(f"Slot {name}", _whole(before[name], unit), "is gone")
        elif name not in before:
            yield Change(f"Slot {name}", "was not there", _whole(after[name], unit))
        else:
            yield from _between(f"Slot {name}, ", _of_slot(before[name]), _of_slot(after[name]), unit)
    orders = [[slot.name for slot in slots if slot.name in before and slot.name in after] for slots in (was, now)]
    if orders[0] != orders[1]:
        yield Change("Slots from the base up", *(", ".join(order) for order in orders))


def _whole(slot: Slot, unit: str) -> str:
    size = f", {both(slot.nominal_nm, unit)}" if slot.nominal_nm is not None else ""
    return f"{slot.count} {slot.get_role_display()}, fit {slot.fit.code}{size}"


def _of_slot(slot: Slot) -> dict[str, Figure]:
    return {
        "role": slot.get_role_display(),
        "fit": slot.fit.code,
        "further proven fits": ", ".join(sorted(further.fit.code for further in slot.further_fits.all())),
        "count": str(slot.count),
        "lined faces": str(slot.lined_faces),
        "may be exchanged": _yes(slot.swap),
        "extra": str(slot.extra),
        "book size": slot.nominal_nm,
        "reuse minimum": slot.reuse_minimum_nm,
        "cone limit": slot.cone_limit_nm,
        "thinnest that goes in": slot.thinnest_nm,
        "thickest that goes in": slot.thickest_nm,
        "material": slot.material,
        "facing": slot.facing,
        "where an odd one goes": slot.place,
    }
