"""Rows to test with. What has a ledger is made by its service, never by hand."""

from typing import Any

import factory
from factory.django import DjangoModelFactory

from plates.catalogue.models import Fit, Kind
from plates.catalogue.spec_models import Spec
from plates.catalogue.specs import SlotData, faces_of, spec_make
from plates.catalogue.windows import Window, window_rule
from plates.lengths import length_parse
from plates.stock.models import Bin, Plate
from plates.stock.services import Reading, Tags, plate_receive
from shop.people.models import Person, Role, Shop


class ShopFactory(DjangoModelFactory[Shop]):
    class Meta:
        model = Shop

    name = factory.Sequence(lambda n: f"Shop {n}")


class PersonFactory(DjangoModelFactory[Person]):
    class Meta:
        model = Person

    shop = factory.SubFactory(ShopFactory)
    username = factory.Sequence(lambda n: f"person{n}")
    role = Role.OWNER


class FitFactory(DjangoModelFactory[Fit]):
    class Meta:
        model = Fit

    shop = factory.SubFactory(ShopFactory)
    code = factory.Sequence(lambda n: f"FIT-{n}")
    tooth_side = "internal"
    teeth = 36
    outer_nm = length_parse("5.5 in")
    inner_nm = length_parse("4.2 in")


class KindFactory(DjangoModelFactory[Kind]):
    class Meta:
        model = Kind

    shop = factory.SelfAttribute("fit.shop")
    fit = factory.SubFactory(FitFactory)
    code = factory.Sequence(lambda n: f"KIND-{n}")
    role = "steel"
    lined_faces = 0
    nominal_nm = length_parse("0.077 in")


class BinFactory(DjangoModelFactory[Bin]):
    class Meta:
        model = Bin

    shop = factory.SelfAttribute("fit.shop")
    fit = factory.SubFactory(FitFactory)
    code = factory.Sequence(lambda n: f"B-{n}")
    role = "steel"
    from_nm = length_parse("0.0765 in")
    to_nm = length_parse("0.0775 in")


def shelve(person: Person, kind: Kind, *lengths: str, **tags: Any) -> list[Plate]:
    """Scan in plates of these lengths, one reading each, as they are."""
    return [
        plate_receive(
            person=person, kind=kind, reading=Reading([text], [length_parse(text)]), tags=Tags(**tags), confirm=True
        ).plates[0]
        for text in lengths
    ]


def pack(
    person: Person,
    steels: Fit,
    frictions: Fit,
    count: int = 5,
    *,
    code: str = "PACK",
    window: Window | None = None,
    measures: str = "gap",
    **more: object,
) -> Spec:
    """A pack of ``count`` frictions and ``count`` steels, the steels to be exchanged; rule window unless given."""
    slots = [
        SlotData("steels", "steel", steels, count, swap=True, nominal_nm=length_parse("0.077 in")),
        SlotData("frictions", "friction", frictions, count, lined_faces=2, nominal_nm=length_parse("0.080 in")),
    ]
    return spec_make(
        person=person,
        code=code,
        title="Pack",
        measures=measures,
        window=window or window_rule(faces=faces_of(slots), measures=measures),
        slots=slots,
        **more,  # type: ignore[arg-type]
    )
