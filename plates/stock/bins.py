"""Bins: making them, and which one a plate goes into."""

import uuid
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Sequence

from plates.catalogue.models import BadFigures, Fit, Kind
from plates.lengths import both
from plates.stock.models import Bin, BinOverlap
from shop.errors import Refusal
from shop.people.models import Person
from shop.rows import rows_write


class WrongBin(Refusal):
    code, title = "wrong_bin", "The bin is for other plates"


def bin_make(*, person: Person, code: str, fit: Fit, role: str, from_nm: int, to_nm: int) -> Bin:
    """A new bin for from_nm ≤ thickness < to_nm. Raises CodeTaken, BadFigures, BinOverlap."""
    made = Bin(shop_id=person.shop_id, code=code, fit=fit, role=role, from_nm=from_nm, to_nm=to_nm)
    for refusal in bins_make(person=person, bins=[made]).values():
        raise refusal
    return made


def bins_make(*, person: Person, bins: Sequence[Bin]) -> dict[int, Refusal]:
    """Write new bins of the person's shop, in the transaction of the caller, who may take them back: all but those that
    are refused, by their places. Of two that overlap the first is written. Raises Forbidden, Busy.
    """
    person.require("stock")
    refused: dict[int, Refusal] = {}
    spans = _Spans(person, bins)
    for place, one in enumerate(bins):
        try:
            spans.add(one)
        except Refusal as refusal:
            refused[place] = refusal
    good = [place for place in range(len(bins)) if place not in refused]
    return refused | rows_write(good, lambda places: Bin.objects.bulk_create([bins[place] for place in places]))


class _Spans:
    """What the bins of the fits concerned span, those there and those to come: of each fit and role in order, since no
    two overlap.
    """

    def __init__(self, person: Person, bins: Sequence[Bin]) -> None:
        self._rows: dict[tuple[uuid.UUID, str], list[Bin]] = defaultdict(list)
        there = Bin.objects.filter(
            shop_id=person.shop_id,
            fit__in={one.fit_id for one in bins},
            from_nm__lt=max((one.to_nm for one in bins), default=0),
            to_nm__gt=min((one.from_nm for one in bins), default=0),
        )
        for one in there.order_by("from_nm"):
            self._rows[one.fit_id, one.role].append(one)

    def add(self, new: Bin) -> None:
        """Raises BadFigures, BinOverlap."""
        if new.from_nm >= new.to_nm:
            raise BadFigures(
                f"A bin spans from a smaller to a larger thickness; {both(new.from_nm)} is not below "
                f"{both(new.to_nm)}.",
                [("/from", "is below to")],
            )
        row = self._rows[new.fit_id, new.role]
        place = bisect_right(row, new.from_nm, key=lambda one: one.to_nm)
        if place < len(row) and row[place].from_nm < new.to_nm:
            other = row[place]
            raise BinOverlap(
                f"Bin {other.code} spans {both(other.from_nm)} to {both(other.to_nm)} of the same fit and role. "
                "Choose a span beside it.",
                [("/from", f"overlaps bin {other.code}"), ("/to", f"overlaps bin {other.code}")],
            )
        row.insert(place, new)


def bins_of(kind: Kind) -> list[Bin]:
    """All bins for plates of this kind's fit and role."""
    return list(Bin.objects.filter(shop_id=kind.shop_id, fit_id=kind.fit_id, role=kind.role))


def bin_for(
    kind: Kind, thickness_nm: int, chosen: Bin | None = None, bins: Sequence[Bin] | None = None
) -> tuple[Bin | None, list[dict[str, str]]]:
    """The bin that spans this thickness, or the chosen one, with warnings (``bins``: those of the kind, if known).

    Raises :class:`WrongBin`.
    """
    if chosen is not None:
        if (chosen.fit_id, chosen.role) != (kind.fit_id, kind.role):
            raise WrongBin(
                f"Bin {chosen.code} is not for {kind.get_role_display()} of fit {kind.fit.code}.",
                [("/bin", "choose another")],
            )
        if chosen.from_nm <= thickness_nm < chosen.to_nm:
            return chosen, []
        text = f"{both(thickness_nm)} lies outside bin {chosen.code}, {both(chosen.from_nm)} to {both(chosen.to_nm)}."
        return chosen, [{"code": "outside_bin", "text": text}]
    for home in bins_of(kind) if bins is None else bins:
        if home.from_nm <= thickness_nm < home.to_nm:
            return home, []
    text = f"No bin of fit {kind.fit.code} spans {both(thickness_nm)}. Lay it with the unsorted plates, or make a bin."
    return None, [{"code": "no_bin", "text": text}]
