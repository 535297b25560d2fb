"""A shop in which one of everything has happened, made through the API alone."""

from typing import Any

import pytest

from plates.lengths import length_parse
from shop.people.models import Person
from tests.api import Api
from tests.factories import BinFactory
from tests.shelves import Shelf, question, shelf_of

#: The bodies that a shop in order accepts, by path.
Bodies = dict[str, dict[str, Any]]


@pytest.fixture
def shelf(owner: Person) -> Shelf:
    made = shelf_of(owner)
    BinFactory.create(fit=made.steels, code="B-14")
    BinFactory.create(fit=made.steels, code="B-15", from_nm=length_parse("0.0775 in"), to_nm=length_parse("0.0785 in"))
    return made


@pytest.fixture
def bodies(shelf: Shelf) -> Bodies:
    """One good body for every call that makes something."""
    fit, kind = shelf.steels.code, shelf.kind.code
    slot = {"name": "steels", "role": "steel", "fit": fit, "count": 4, "swap": True, "nominal": "0.077 in"}
    faces = {"name": "frictions", "role": "friction", "fit": shelf.frictions.code, "count": 4}
    plate = str(shelf.stock("0.0769 in")[0].pk)
    return {
        "fits/": {"code": "NEW", "tooth_side": "internal", "teeth": 36, "outer": "5.5 in", "inner": "4.25 in"},
        "kinds/": {"code": "NEW", "fit": fit, "role": "steel", "nominal": "0.087 in", "scan_codes": ["0123"]},
        "specs/": {
            "code": "NEW", "title": "Direct", "measures": "gap", "window": {"source": "rule"}, "slots": [slot, faces],
        },
        "bins/": {"code": "NEW", "fit": fit, "role": "steel", "from": "0.0785 in", "to": "0.0795 in"},
        "plates/": {"kind": kind, "readings": ["0.0771 in", "0.0770 in"]},
        "lots/": {"kind": kind, "count": 3, "readings": [["0.0771 in"], ["0.0770 in"], ["0.0770 in"]]},
        "hand-outs/": {"plates": [plate], "reason": "cash"},
        "counts/": {"bin": "B-14"},
        "matches/": question("0.0640 in", ["0.0670 in"] * 5),
    }  # fmt: skip


@pytest.fixture
def ids(api: Api, shelf: Shelf, bodies: Bodies) -> dict[str, str]:
    """A match that is open, one that is taken, a plate that lies there and one that left."""
    shelf.stock("0.0771 in", "0.0770 in", "0.0772 in")
    taken = api.post("matches/", {**bodies["matches/"], "take": True, "job": "J-1"}).body
    opened = api.post("matches/", bodies["matches/"]).body
    return {
        "open": opened["id"],
        "taken": taken["id"],
        "lies": opened["options"][0]["in"][0]["plate"],
        "gone": taken["slip"][0]["plate"],
    }
