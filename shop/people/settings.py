"""What a shop may set for itself, within which limits, and the record of each change."""

from dataclasses import dataclass
from typing import Any

from plates.lengths import INCH, both
from shop.errors import Refusal
from shop.people.audit import audit_write
from shop.people.models import Person, Shop
from shop.people.services import shop_lock, shop_name_refused


class BadSetting(Refusal):
    code, title = "bad_setting", "This cannot be set so"


@dataclass(frozen=True)
class Range:
    """From the least to the most, both allowed. Lengths in nm, times in minutes."""

    name: str
    least: float
    most: float

    def check(self, field: str, value: Any, words: str) -> None:
        """Raises BadSetting, ``words`` being the limits as a person reads them."""
        if not self.least <= value <= self.most:
            raise BadSetting(f"{self.name}: {words}.", [(f"/{field}", words)])


#: A spread or an uncertainty above this is a slip of the hand: 0.020 in.
_FAR = INCH * 20 // 1000
MINUTES = {
    "lock_minutes": Range("Lock after", 1, 480),
    "hold_minutes": Range("A hold runs out after", 1, 43_200),
}
LENGTHS = {
    "spread_nm": Range("Readings of one pack may spread", 1, _FAR),
    "u_feeler_nm": Range("Reading by feeler", 1, _FAR),
    "u_indicator_nm": Range("Reading by indicator", 1, _FAR),
    "u_depth_nm": Range("Reading by depth gauge", 1, _FAR),
    "u_air_nm": Range("Reading by air", 1, _FAR),
    "u_single_nm": Range("A single reading adds", 1, _FAR),
    "u_wave_nm": Range("A wave translation adds", 1, _FAR),
    "u_micrometer_nm": Range("Micrometer, each plate", 1, _FAR),
    "u_stacked_nm": Range("Stacked, each plate", 1, _FAR),
}
SURE = Range("Sure from", 0.5, 0.999)
NAMES = {
    "name": "Name of the shop",
    "unit_first": "Unit shown first",
    "second_person": "Old plates need a second person",
    "code_required": "A password alone is not enough",
    "sure_level": SURE.name,
    **{field: range.name for field, range in {**MINUTES, **LENGTHS}.items()},
}


def _check(field: str, value: Any) -> None:
    if field in MINUTES:
        limits = MINUTES[field]
        limits.check(field, value, f"{limits.least} to {limits.most} minutes")
    elif field in LENGTHS:
        LENGTHS[field].check(field, value, f"above zero, at most {both(_FAR)}")
    elif field == "sure_level":
        SURE.check(field, value, f"{SURE.least * 100:g} to {SURE.most * 100:g} %")
    elif field == "name" and (why := shop_name_refused(value)):
        raise BadSetting(why, [("/name", "choose another")])


def words_of(field: str, value: Any) -> str:
    """A setting as a person reads it."""
    if field in LENGTHS:
        return both(value)
    if field in MINUTES:
        return f"{value} min"
    if field == "sure_level":
        return f"{value * 100:g} %"
    if field == "unit_first":
        return "inch" if value == "in" else "millimetre"
    if field in ("second_person", "code_required"):
        return "yes" if value else "no"
    return str(value)


def settings_change(*, person: Person, **values: Any) -> Shop:
    """Set what is named, each by its field of :class:`Shop`; one line of the audit for each that really changes.

    Raises BadSetting. What was asked before keeps the figures that it was asked with.
    """
    person.require("settings")
    for field, value in values.items():
        _check(field, value)
    shop = shop_lock(person=person)
    changed = [field for field, value in values.items() if getattr(shop, field) != value]
    for field in changed:
        before, after = words_of(field, getattr(shop, field)), words_of(field, values[field])
        audit_write(person=person, subject="settings", what=NAMES[field], before=before, after=after)
        setattr(shop, field, values[field])
    if changed:
        shop.save(update_fields=changed)
    return shop
