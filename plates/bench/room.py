"""The room of the empty drum, from the piston face to the ring groove, and what of it the plates that stay take up.

Clearance = room - everything that stays - everything that is chosen from the shelf. The wave plate stays as the window
is read: at its flat thickness, or at its free height.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

from plates.bench.question import Entry, Question, WaveUnknown
from plates.catalogue.models import Role
from plates.catalogue.spec_models import Slot, Spec
from plates.measuring.uncertainty import (
    NORMAL,
    RECTANGULAR,
    Part,
    micrometer_u_nm,
)
from shop.errors import Malformed, Refusal


class BadRoom(Refusal):
    code, title = "bad_room", "No pack is built from this room"


def wave_counted(spec: Spec, question: Question) -> str:
    """As what the wave plate takes its part of the room, ``free`` or ``flat``; blank where nobody says."""
    return spec.reads_wave or question.wave_state


def with_stays(spec: Spec, slots: Sequence[Slot], question: Question) -> Question:
    """The question with everything named that stays in the empty drum: what was not given stands at book size, a wave
    plate as the window is read. Raises BadRoom, WaveUnknown, Malformed.
    """
    if not question.room:
        return question
    if spec.measures != "gap":
        raise BadRoom(
            f"{spec.code} is measured as stack height, and a height has no room to fill. Read the stack instead.",
            [("/room", "a pack of measured clearance has a room")],
        )
    if not spec.adjustable:
        raise BadRoom(
            f"{spec.code} has no adjustment: nothing of it is chosen. Build it with the parts that its manual names.",
            [("/room", "this pack has no adjustment")],
        )
    if not question.left_out:
        raise Malformed(
            "Say which slots of the empty drum are to be filled from the shelf.", [("/left_out", "name at least one")]
        )
    if spec.reads_wave and question.wave_state not in ("", spec.reads_wave):
        raise Malformed(
            f"There is no wave plate in an empty drum: it is counted {spec.reads_wave}, as the window of this spec is "
            "read.",
            [("/wave_state", "leave it out")],
        )
    stays = [slot for slot in slots if slot.name not in question.left_out]
    installed = {
        slot.name: _wave(spec, slot, question) if slot.role == Role.WAVE else _plates(slot, question) for slot in stays
    }
    return replace(question, installed=installed)


def _plates(slot: Slot, question: Question) -> list[Entry]:
    entries = question.installed.get(slot.name)
    if entries is not None:
        return entries
    if slot.nominal_nm is None and slot.count:
        raise Malformed(
            f"Nobody read {slot.name!r}, and it has no book size: what stays takes its part of the room. Read its "
            f"{slot.count}.",
            [(f"/installed/{slot.name}", "list its plates")],
        )
    return [Entry(slot.nominal_nm or 0, at_book=True)] * slot.count


def _wave(spec: Spec, slot: Slot, question: Question) -> list[Entry]:
    read = [entry for entry in question.installed.get(slot.name, []) if not entry.at_book]
    counted = wave_counted(spec, question)
    if not counted:
        raise WaveUnknown(
            "The spec does not say whether its window is read with the wave plate free or flat, so nobody knows how "
            "much of the room it takes. Say how the assembled pack will be read.",
            [("/wave_state", "free or flat")],
        )
    if counted == "flat":
        if not read and spec.wave_flat_nm is None:
            raise WaveUnknown(
                "The wave plate is counted flat, and its flat thickness is not known. Read it, or give the figures "
                "with the spec.",
                [(f"/installed/{slot.name}", "read its flat thickness")],
            )
        return read or [Entry(spec.wave_flat_nm or 0, at_book=True)] * slot.count
    if read:
        raise Malformed(
            "The wave plate is counted free, and a micrometer presses it flat: give its free height instead.",
            [(f"/installed/{slot.name}", "give wave_free instead")],
        )
    if question.wave_free_nm is None and spec.wave_free_nm is None:
        raise WaveUnknown(
            "The wave plate is counted free, and its free height is not known. Measure it, or give the figures with "
            "the spec.",
            [("/wave_free", "measure its free height")],
        )
    if question.wave_free_nm is not None:
        return [Entry(question.wave_free_nm)] * slot.count
    return [Entry(spec.wave_free_nm or 0, at_book=True)] * slot.count


def stays_nm(question: Question) -> int:
    """How much of the room is taken up before anything is chosen, in nm; 0 unless the drum was empty. Raises BadRoom
    for a plate that must go.
    """
    if not question.room:
        return 0
    for name, entries in question.installed.items():
        for entry in entries:
            if entry.must_go:
                why = f" {' and '.join(entry.why)}." if entry.why else ""
                raise BadRoom(
                    f"A plate of {name!r} must go, and what is named with a room stays.{why} Put another one in its "
                    "place, or leave its slot out.",
                    [(f"/installed/{name}", "does not stay")],
                )
    return sum(entry.thickness_nm for entries in question.installed.values() for entry in entries)


def stays_of_gauge(question: Question) -> Counter[str]:
    """How many of the plates that stay in the empty drum were read with which gauge."""
    if not question.room:
        return Counter()
    return Counter(
        entry.gauge for entries in question.installed.values() for entry in entries if entry.gauge and not entry.at_book
    )


def stays_parts(
    spec: Spec, slots: Sequence[Slot], question: Question, shared: Mapping[str, float]
) -> list[Part]:
    """What the plates that stay add to the budget of the room; nothing unless the drum was empty.

    Each adds what a plate that goes in adds: errors of one gauge have the same sign in both, so they do not cancel.
    """
    plates = [entry for entries in question.installed.values() for entry in entries] if question.room else []
    if not plates:
        return []
    parts = [Part("plates that stay, stacked against measured height", question.figures.stacked_nm, times=len(plates))]
    read = stays_of_gauge(question)
    alone = sum(not entry.at_book for entry in plates) - sum(read[gauge] for gauge in shared)
    if alone:
        parts.append(Part("plates that stay, micrometer", question.figures.micrometer_nm, times=alone))
    for gauge, times in sorted(read.items()):
        if gauge in shared:
            each = micrometer_u_nm(shared[gauge], question.figures.micrometer_nm)
            parts.append(Part(f"plates that stay, each reading by micrometer {gauge}", each, times=times))
            name = f"plates that stay, limit of error of {gauge}"
            parts.append(Part(name, shared[gauge], RECTANGULAR, -times, gauge))
    at_book = Counter(entry.u_nm for entry in plates if entry.at_book)
    parts += [Part("a plate that stays, at book size", u_nm, RECTANGULAR, times) for u_nm, times in at_book.items()]
    waves = sum(slot.count for slot in slots if slot.role == Role.WAVE)
    if waves and wave_counted(spec, question) == "free":
        parts.append(Part("a wave plate counted free", question.figures.wave_nm, NORMAL, waves))
    return parts
