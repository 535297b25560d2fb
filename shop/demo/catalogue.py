"""Fits, kinds and pack specs of the demo shop."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from plates.catalogue.hydraulics import hydraulics_read
from plates.catalogue.hydraulics_body import HydraulicsBody
from plates.catalogue.kinds import Break, KindData, kind_make
from plates.catalogue.models import Fit, Kind
from plates.catalogue.services import faces_check, fit_make
from plates.catalogue.spec_models import Spec
from plates.catalogue.specs import Convention, SlotData, StackLimits, faces_of, spec_make
from plates.catalogue.windows import Printed, Window, window_manual, window_rule
from plates.lengths import length_parse
from shop.demo.crew import Crew


@dataclass(frozen=True)
class Catalogue:
    """What the demo shop knows, by code; ``lots``: the sizes of the deliveries of each kind."""

    fits: dict[str, Fit]
    kinds: dict[str, Kind]
    specs: dict[str, Spec]
    lots: dict[str, list[int]]


def fill(crew: Crew, rows: dict[str, Any]) -> Catalogue:
    """Make everything that ``rows`` (the file ``catalogue.json``) names."""
    fits = {row["code"]: fit_make(person=crew.buyer, **_lengths(row, "outer", "inner")) for row in rows["fits"]}
    kinds, lots = {}, {}
    for row in rows["kinds"]:
        given = _lengths(row, "nominal", "tolerance", "reuse_minimum")
        code = given["code"]
        lots[code] = given.pop("lots")
        given |= {"fit": fits[given["fit"]], "unit_cost": Decimal(given["unit_cost"])}
        given["price_breaks"] = [Break(count, Decimal(cost)) for count, cost in given.get("price_breaks", [])]
        kinds[code] = kind_make(person=crew.buyer, kind=KindData(**given))
    specs = {row["code"]: _spec(crew, row, fits) for row in rows["specs"]}
    return Catalogue(fits, kinds, specs, lots)


def _lengths(row: dict[str, Any], *names: str) -> dict[str, Any]:
    """The row with the lengths that it has under these names in nanometres, as ``name_nm``."""
    parsed = {f"{name}_nm": length_parse(row[name]) for name in names if name in row}
    return {name: value for name, value in row.items() if name not in names} | parsed


def _spec(crew: Crew, row: dict[str, Any], fits: dict[str, Fit]) -> Spec:
    given = _lengths(row, "limit_low", "limit_high", "spread", "splines")
    slots = [_slot(slot, fits) for slot in given.pop("slots")]
    if wave := given.pop("wave", None):
        given["wave_nm"] = tuple(map(length_parse, wave))
    given["reads"] = Convention(*(given.pop(f"reads_{name}", "") for name in ("wave", "method", "soak", "load")))
    if hydraulics := given.pop("hydraulics", None):
        body = HydraulicsBody(data=hydraulics)
        body.is_valid(raise_exception=True)
        given["hydraulics"] = hydraulics_read(body.validated_data)
    named = ("spread_nm", "splines_nm", "liftable")
    given["limits"] = StackLimits(**{name: given.pop(name) for name in named if name in given})
    window = _window(given.pop("window"), given["measures"], slots)
    return spec_make(person=crew.buyer, window=window, slots=slots, **given)


def _slot(row: dict[str, Any], fits: dict[str, Fit]) -> SlotData:
    given = _lengths(row, "nominal", "thinnest", "thickest")
    given["lined_faces"] = faces_check(role=given["role"], lined_faces=given.get("lined_faces"))
    given["fits"] = [fits[code] for code in given.get("fits", [])]
    return SlotData(**given | {"fit": fits[given["fit"]]})


def _window(row: dict[str, Any], measures: str, slots: list[SlotData]) -> Window:
    if row["source"] == "rule":
        return window_rule(faces=faces_of(slots), measures=measures)
    return window_manual(
        low=row["low"],
        high=row["high"],
        reference=row["reference"],
        also=Printed(*row["also"]) if "also" in row else None,
        target_nm=length_parse(row["target"]) if "target" in row else None,
    )
