"""A shop in which there is one of everything that the API or a page can name, and what each is called."""

from typing import Any

from plates.bench.models import Match
from plates.buying.models import Order
from shop.people.badges import badge_make
from shop.people.models import Person, Role
from shop.people.terminals import terminal_enrol
from tests.api import Api
from tests.factories import PersonFactory
from tests.telephone import Telephone

#: Every name that a call may be given: of one shop, by what it is.
Names = dict[str, str]
_STEELS = {"steels": ["0.0670 in"] * 5}
HIGH = {"standard": "25.000 mm", "readings": ["25.018 mm"]}
GOOD = {"standard": "25.000 mm", "readings": ["25.001 mm"]}


def furnish(owner: Person, word: str) -> Names:
    """Fill the owner's shop through the API. ``word`` begins every code, so that no two shops share one."""
    return _Shop(owner, word).names


class _Shop:
    def __init__(self, owner: Person, word: str) -> None:
        self.owner, self.api, self.word = owner, Api(owner), word
        self.names: Names = {"code": f"{word}-FRESH"}
        for part in (self.people, self.catalogue, self.stock, self.gauges, self.counts, self.matches, self.buying):
            part()

    def made(self, path: str, body: Any) -> dict[str, Any]:
        reply = self.api.post(path, body)
        assert reply.status in (200, 201), (path, reply)
        made: dict[str, Any] = reply.body
        return made

    def code(self, name: str) -> str:
        self.names[name] = f"{self.word}-{name.upper()}"
        return self.names[name]

    def people(self) -> None:
        someone = PersonFactory.create(shop=self.owner.shop, username=f"{self.word}.someone".lower(), role=Role.BENCH)
        self.names["person"] = someone.username
        self.names["badge"] = badge_make(person=self.owner, username=someone.username)
        Telephone(someone)
        terminal_enrol(person=self.owner, code=self.code("terminal"))

    def catalogue(self) -> None:
        teeth = {"teeth": 36, "outer": "5.5 in", "inner": "4.2 in"}
        self.made("fits/", {"code": self.code("fit"), "tooth_side": "internal", **teeth})
        self.made("fits/", {"code": self.code("hub"), "tooth_side": "external", **teeth})
        steel = {"fit": self.names["fit"], "role": "steel", "nominal": "0.077 in"}
        limits = {"tolerance": "0.002 in", "taper_limit": "0.001 in", "supplier": f"{self.word} Works"}
        label, self.names["set"] = f"{self.word}0815", f"{self.word} set"
        self.names["scan_code"], self.names["supplier"] = label, limits["supplier"]
        self.made("kinds/", {"code": self.code("kind"), **steel, **limits, "scan_codes": [label]})
        ring = {"role": "snap_ring", "fit": self.names["fit"], "nominal": "1.5 mm", "set_of": self.names["set"]}
        self.made("kinds/", {"code": self.code("ring"), **ring, "mark": "1"})
        for name, title in (("spec", f"{self.word} direct"), ("other_spec", f"{self.word} reverse")):
            self.made("specs/", {"code": self.code(name), **pack_of(self.names["fit"], self.names["hub"], title)})

    def stock(self) -> None:
        for place, name in enumerate(("bin", "bin_read", "bin_look")):
            span = {"from": f"0.0{765 + 10 * place} in", "to": f"0.0{775 + 10 * place} in"}
            self.made("bins/", {"code": self.code(name), "fit": self.names["fit"], "role": "steel", **span})
        self.names["plate"], self.names["scrapped"], *_ = (
            self.plate(reading) for reading in ("0.0770 in", "0.0766 in", "0.0771 in", "0.0772 in", "0.0772 in")
        )
        self.plate("0.0780 in")
        self.names["missing"] = self.plate("0.0790 in", box="sealed")  # no pack is offered it
        lot = {"kind": self.names["kind"], "count": 3, "readings": [["0.0769 in"]] * 3}
        made = self.made("lots/", lot)
        self.names["lot"], self.names["lot_plate"] = made["id"], made["plates"][0]["id"]
        self.names["lent"] = self.plate("0.0768 in")
        given = {"plates": [self.names["lent"]], "reason": "lent", "to": f"{self.word} next door"}
        self.names["hand_out"] = self.made("hand-outs/", given)["id"]
        given = {"plates": [self.plate("0.0768 in")], "reason": "transfer", "to": f"{self.word} Riverside"}
        self.names["transfer"] = self.made("hand-outs/", given)["id"]
        self.made(f"plates/{self.names['scrapped']}/scrap/", {"reason": f"{self.word} burnt"})

    def plate(self, reading: str, **more: Any) -> str:
        body = {"kind": self.names["kind"], "readings": [reading], "confirm": True, **more}
        return str(self.made("plates/", body)["id"])

    def gauges(self) -> None:
        for name in ("gauge", "wrong", "withdrawn"):
            self.made("gauges/", {"code": self.code(name), "type": "micrometer"})
        self.made(f"gauges/{self.names['gauge']}/checks/", GOOD)
        self.made(f"gauges/{self.names['withdrawn']}/withdraw/", {"reason": "dropped"})
        self.names["read_wrong"] = self.plate("0.0774 in", gauge=self.names["wrong"])
        self.names["check"] = self.made(f"gauges/{self.names['wrong']}/checks/", HIGH)["id"]
        study = {"gauge": self.names["gauge"], "people": ["a", "b"], "plates": ["1", "2"], "readings": STUDY}
        self.names["study"] = self.made("gauge-studies/", study)["id"]

    def counts(self) -> None:
        for name in ("read", "look"):
            begun = self.made("counts/", {"bin": self.names[f"bin_{name}"]})
            self.names[f"count_{name}"] = begun["id"]
        self.made(f"counts/{self.names['count_read']}/read/", {"readings": ["0.0781 in"]})
        self.made(f"counts/{self.names['count_look']}/all-read/", {})

    def matches(self) -> None:
        asked = {**asked_of(self.names["spec"]), "job": self.code("job")}
        for name, more in (("held", {}), ("taken", {"take": True}), ("built", {"take": True}), ("open", {})):
            match = self.made("matches/", {**asked, **more, "job": f"{self.names['job']}-{name}"})
            self.named(name, match)
            if name == "held":
                self.made(f"matches/{match['id']}/hold/", {"option": 1})
            if name == "taken":
                (first, *_) = match["slip"]
                self.names |= {"gone": first["plate"], "gone_reading": f"{first['thickness']['in']} in"}
            if name == "built":
                self.made(f"matches/{match['id']}/final/", {"readings": ["0.0500 in"] * 3, "method": "feeler"})
        near = {"readings": ["0.0500 in"] * 3, "installed": {"steels": ["0.0700 in"] * 5}}
        closed = self.made("matches/", {**asked, **near})
        self.made(f"matches/{closed['id']}/final/", {"readings": ["0.0500 in"] * 3, "method": "feeler"})
        self.named("closed", closed)
        self.made("matches/", {**asked, "readings": ["0.1500 in"] * 3, "job": f"{self.word}-SHORT"})
        self.names["miss"] = self.api.get("missed/").body["results"][0]["id"]
        self.names["line"] = self.api.get("ledger/").body["results"][0]["id"]

    def named(self, name: str, match: dict[str, Any]) -> None:
        self.names[name], self.names[f"{name}_job"] = match["id"], match["job"]
        self.names[f"{name}_number"] = str(Match.objects.get(pk=match["id"]).number)

    def buying(self) -> None:
        wanted = {"supplier": self.names["supplier"], "lines": [{"kind": self.names["kind"], "quantity": 20}]}
        for name in ("draft", "sent"):
            made = self.made("orders/", wanted)
            self.names[name], self.names[f"{name}_number"] = made["id"], str(Order.objects.get(pk=made["id"]).number)
        self.made(f"orders/{self.names['sent']}/send/", {})
        tapered = {"kind": self.names["kind"], "readings": ["0.0760 in", "0.0780 in"], "confirm": True}
        self.made(f"orders/{self.names['sent']}/receive/", {"plates": [tapered]})
        self.names["claim"] = self.api.get("claims/").body["results"][0]["id"]
        rule = {"fit": self.names["fit"], "role": "steel", "nominal": "0.077 in", "least": 3}
        self.names["rule"] = self.made("buy-rules/", rule)["id"]


#: People, their trials, the plates in each.
STUDY = [[["0.0770 in", "0.0771 in"]] * 2] * 2


def pack_of(fit: str, hub: str, title: str = "Direct") -> dict[str, Any]:
    """The body of a pack spec, but for its code."""
    steels = {"name": "steels", "role": "steel", "fit": fit, "count": 5, "swap": True, "nominal": "0.077 in"}
    frictions = {"name": "frictions", "role": "friction", "fit": hub, "count": 5, "nominal": "0.080 in"}
    return {"title": title, "measures": "gap", "window": {"source": "rule"}, "slots": [steels, frictions]}


def asked_of(spec: str) -> dict[str, Any]:
    """A loose pack that the shelf closes."""
    return {"spec": spec, "readings": ["0.0640 in"] * 3, "method": "feeler", "installed": _STEELS, "counted": True}
