"""What is said of a plate as it is booked, and what else was found on it than its thickness."""

import uuid
from dataclasses import dataclass, field, replace
from typing import Any

from plates.catalogue.models import BadFigures
from plates.lengths import both, mean_nm
from plates.stock.ledger_models import Act
from plates.stock.models import Condition, Plate, State
from shop.errors import Refusal
from shop.people.models import Person


class SecondPerson(Refusal):
    code, title = "second_person", "A second person has to agree"


@dataclass(frozen=True)
class Reading:
    """The points read on one plate, 1 to 12: texts with their units, and their lengths in nanometres.

    ``typed``: what a person really typed, where that differs from the texts; it is what the ledger keeps.
    ``taper_nm``: how far the points ranged, where only their mean is told.
    """

    texts: list[str]
    points_nm: list[int]
    typed: list[str] | None = None
    taper_nm: int | None = None

    @property
    def thickness_nm(self) -> int:
        """The mean of the points."""
        return mean_nm(self.points_nm)

    @property
    def spread_nm(self) -> int:
        """The taper: how far the points range."""
        return max(self.points_nm) - min(self.points_nm) if self.taper_nm is None else self.taper_nm

    @property
    def kept(self) -> list[str]:
        return self.texts if self.typed is None else self.typed

    def less(self, zero_nm: int) -> "Reading":
        """The lengths when the gauge shows ``zero_nm`` more than there is; the texts stay. Raises BadFigures."""
        points_nm = [point_nm - zero_nm for point_nm in self.points_nm]
        if min(points_nm) <= 0:
            raise BadFigures(
                f"{both(min(self.points_nm))} is no more than the gauge's zero error {both(zero_nm)}. Read again.",
                [("/readings", "is above the gauge's zero error")],
            )
        return replace(self, points_nm=points_nm)


@dataclass(frozen=True)
class Findings:
    """Cone and warp in nanometres (None: not looked at), a hot spot (None: not said), and who agreed to all of it."""

    cone_nm: int | None = None
    warp_nm: int | None = None
    hot_spot: bool | None = None
    agreed_by: str = ""

    def json(self) -> dict[str, Any]:
        """As a ledger line keeps it: only what was looked at, and who agreed."""
        return {name: value for name, value in vars(self).items() if value not in (None, "")}

    def over(self, before: dict[str, Any]) -> "Findings":
        """These findings, with what was found ``before`` where it was not looked at again."""
        return replace(
            self,
            cone_nm=before.get("cone_nm") if self.cone_nm is None else self.cone_nm,
            warp_nm=before.get("warp_nm") if self.warp_nm is None else self.warp_nm,
            hot_spot=before.get("hot_spot") if self.hot_spot is None else self.hot_spot,
        )


NOTHING_FOUND = Findings()


@dataclass(frozen=True)
class Tags:
    """What is said of plates as they come in. ``transfer``: the hand-out of the shop of ours that sent them."""

    condition: str = Condition.NEW
    source: str = ""
    owner: str = ""
    box: str = ""
    mark: str = ""
    gauge: str = ""
    transfer: uuid.UUID | None = None
    findings: Findings = field(default=NOTHING_FOUND)


def findings_again(plate: Plate, findings: Findings) -> Findings:
    """What is now known of a plate that is read again: if it was quarantined when it was last booked, what was found
    then stays until it is looked at again. Else a coned plate would come free by leaving its cone out.
    """
    booked = plate.lines.filter(act__in=(Act.RECEIVED, Act.PUT_BACK)).order_by("-seq")[0]
    return findings.over(booked.findings) if booked.state == State.QUARANTINED else findings


def agreement_check(*, person: Person, condition: str, agreed_by: str) -> None:
    """Where the shop wants it, an old plate is booked by two people. Whoever is named must be somebody else here who
    may book plates, wanted or not. Raises :class:`SecondPerson`.
    """
    if not agreed_by:
        if person.shop.second_person and condition == Condition.USED:
            raise SecondPerson(
                "In this shop a used plate is booked by two people: let somebody else look at it, and name who agreed.",
                [("/agreed_by", "name a second person")],
            )
        return
    if agreed_by == person.username:
        raise SecondPerson(
            f"{agreed_by} books this plate and cannot be the second person. Ask somebody else to look at it.",
            [("/agreed_by", "name somebody else")],
        )
    if agreed_by not in {other.username for other in second_people(person)}:
        raise SecondPerson(
            f"{agreed_by!r} is nobody in this shop who may book plates. Name somebody from the bench or the counter.",
            [("/agreed_by", "name an active person of this shop with the right stock")],
        )


def second_people(person: Person) -> list[Person]:
    """Who else of the shop may agree: active, and with the right to book plates."""
    others = Person.objects.filter(shop_id=person.shop_id, is_active=True).exclude(pk=person.pk).order_by("username")
    return [other for other in others if other.may("stock")]
