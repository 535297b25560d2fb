"""A shop with one pack to adjust, and the words to ask about it."""

from typing import Any, NamedTuple

from plates.catalogue.models import Fit, Kind
from plates.catalogue.spec_models import Spec
from plates.stock.models import Plate
from shop.people.models import Person
from tests.factories import FitFactory, KindFactory, pack, shelve


class Shelf(NamedTuple):
    """The fits, the kind of steel and the spec of one pack."""

    person: Person
    steels: Fit
    frictions: Fit
    kind: Kind
    spec: Spec

    def stock(self, *lengths: str, **tags: Any) -> list[Plate]:
        """Scan in steels of these lengths, as they are."""
        return shelve(self.person, self.kind, *lengths, **tags)


def shelf_of(person: Person, count: int = 5, **more: Any) -> Shelf:
    """``count`` frictions and ``count`` steels, the steels to be exchanged; rule window unless given."""
    steels = FitFactory.create(shop=person.shop)
    frictions = FitFactory.create(shop=person.shop, tooth_side="external")
    spec = pack(person, steels, frictions, count, **more)
    return Shelf(person, steels, frictions, KindFactory.create(fit=steels), spec)


def question(reading: str, steels: list[str] | dict[str, Any], spec: str = "PACK", **more: Any) -> dict[str, Any]:
    """A question about this pack: the same reading at three points, by feeler."""
    installed = steels if isinstance(steels, dict) else {"steels": steels}
    return {"spec": spec, "readings": [reading] * 3, "method": "feeler", "installed": installed, **more}


def nm(length_nm: int) -> str:
    """A length to the nanometre, as it is sent: ``1.955800 mm``."""
    return f"{length_nm // 10**6}.{length_nm % 10**6:06} mm"
