"""The service against a plain model of its plates: any acts in any order, each step compared, the ledger at the end.

By hand, longer and by chance (``--hypothesis-seed`` repeats a run):
PLATES_MODEL_EXAMPLES=500 PLATES_MODEL_STEPS=60 python -m pytest tests/faults/test_model.py
"""

import os
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import hypothesis
from hypothesis import HealthCheck
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from plates.stock.verify import differences
from tests.api import Api, Reply
from tests.conftest import Urls
from tests.faults import clocks
from tests.faults.model import BINS, THICKNESSES, Shop
from tests.faults.world import ASK, CLOSES, MISSES, scan, shop_new
from tests.shelves import nm

EXAMPLES, STEPS = (os.environ.get(f"PLATES_MODEL_{name}") for name in ("EXAMPLES", "STEPS"))

ANY = st.integers(0, 10**6)
THICK = st.sampled_from(THICKNESSES)


def holder_of(plate: dict[str, Any]) -> str | None:
    return plate["match"] if plate["state"] in ("held", "taken") else None


class Machine(RuleBasedStateMachine):
    urls: Urls

    @initialize()
    def a_shop(self) -> None:
        self.owner = shop_new()
        self.api = Api(self.owner)
        self.shop = Shop()
        self.done: list[tuple[str, dict[str, Any], str, Reply]] = []
        for thickness in THICKNESSES:
            self.scan_in(thickness)
        self.ask(take=False)

    # --- helpers ---

    def act(self, path: str, body: dict[str, Any]) -> Reply:
        """One act under a key of its own; those that were done are kept, to be sent again."""
        key = f"key-{len(self.done)}-{path}"
        reply = self.api.post(path, body, key)
        assert reply.status < 500, reply
        if reply.status < 300:
            self.done.append((path, body, key, reply))
        return reply

    def refused(self, reply: Reply, status: int, code: str) -> None:
        assert (reply.status, reply.code) == (status, code), reply

    def a_match(self, number: int, *likely: str) -> str:
        return self.one_of(self.shop.matches, number, likely)

    def a_plate(self, number: int, *likely: str) -> str:
        return self.one_of(self.shop.plates, number, likely)

    def one_of(self, rows: dict[str, Any], number: int, likely: Sequence[str]) -> str:
        """Mostly one in a state that the act is for, and one in any state now and then."""
        fit = [name for name, row in rows.items() if row.state in likely] if number % 4 else []
        names = sorted(fit or rows)
        return names[number % len(names)]

    def any_match(self) -> bool:
        return bool(self.shop.matches)

    def any_plate(self) -> bool:
        return bool(self.shop.plates)

    # --- onto the shelf ---

    def scan_in(self, thickness: int) -> None:
        reply = self.act("plates/", scan(thickness))
        assert reply.status == 201, reply
        self.shop.receive(reply.body["id"], thickness)

    @rule(thicknesses=st.lists(THICK, min_size=1, max_size=3))
    def arrives(self, thicknesses: list[int]) -> None:
        """One is scanned in, several come as a lot."""
        if len(thicknesses) == 1:
            return self.scan_in(thicknesses[0])
        readings = [[nm(one)] for one in thicknesses]
        reply = self.act("lots/", {"kind": "STEEL", "count": len(readings), "readings": readings, "confirm": True})
        assert reply.status == 201, reply
        got = {plate["id"]: plate["thickness"]["nm"] for plate in reply.body["plates"]}
        assert sorted(got.values()) == sorted(thicknesses)
        for plate, thickness in got.items():
            self.shop.receive(plate, thickness)
        return None

    # --- the bench ---

    @rule(take=st.booleans())
    def ask(self, take: bool) -> None:
        reply = self.act("matches/", {**ASK, "take": take})
        assert reply.status == 201, reply
        name, answer = reply.body["id"], reply.body
        self.shop.show(name, {**answer, "state": "open"})
        self.shop.offers_free(name)
        assert (answer["state"] == "taken") == (take and bool(answer["options"])), answer["state"]
        if answer["state"] == "taken":
            self.shop.give(name, "taken", [row["plate"] for row in answer["slip"]])

    @precondition(any_match)
    @rule(number=ANY, which=ANY)
    def hold(self, number: int, which: int) -> None:
        self.choose(self.a_match(number, "open"), which, "hold")

    @precondition(any_match)
    @rule(number=ANY, which=ANY)
    def hold_another_option(self, number: int, which: int) -> None:
        self.choose(self.a_match(number, "held"), which, "hold")

    @precondition(any_match)
    @rule(number=ANY, which=ANY)
    def take(self, number: int, which: int) -> None:
        self.choose(self.a_match(number, "open", "held"), which, "take")

    def choose(self, name: str, which: int, act: str) -> None:
        match = self.shop.matches[name]
        if not match.options:
            return None
        option = match.options[which % len(match.options)]
        reply = self.act(f"matches/{name}/{act}/", {"option": option["number"]})
        if match.state not in ("open", "held"):
            return self.refused(reply, 409, "wrong_state")
        if reply.status == 409:
            self.refused(reply, 409, "stock_moved")
            assert not self.shop.unchanged(name, option), "refused, though nothing had moved"
            self.shop.show(name, {**reply.body["match"], "state": match.state})
            return self.shop.offers_free(name)
        assert reply.status == 200, reply
        given = reply.body["slip"] if act == "take" else self.option_of(reply.body)["in"]
        self.shop.give(name, "taken" if act == "take" else "held", [row["plate"] for row in given])
        seen = dict(match.seen)
        self.shop.show(name, reply.body)
        match.seen = {plate: seen.get(plate, -1) for plate in match.seen}  # only its own were looked at again
        return None

    def option_of(self, answer: dict[str, Any]) -> dict[str, Any]:
        return next(one for one in answer["options"] if one["number"] == answer["option_taken"])

    @precondition(any_match)
    @rule(number=ANY)
    def release(self, number: int) -> None:
        name = self.a_match(number, "held", "taken")
        match = self.shop.matches[name]
        gone = match.state == "taken" and len(self.shop.slip_left(name)) < len(match.slip)
        reply = self.act(f"matches/{name}/release/", {})
        if match.state != "held" and (not gone or match.fated):
            return self.refused(reply, 409, "wrong_state")
        assert reply.status == 200, reply
        self.shop.open_again(name)
        self.shop.show(name, reply.body)
        return self.shop.offers_free(name)

    @precondition(any_match)
    @rule(number=ANY, which=ANY, other=st.none() | THICK, then=st.sampled_from(["", "keep", "rematch"]))
    def pull_check(self, number: int, which: int, other: int | None, then: str) -> None:
        name = self.a_match(number, "taken")
        match = self.shop.matches[name]
        if match.state != "taken":
            return None
        named = match.slip[which % len(match.slip)]
        reading = other or self.shop.plates[named].thickness_nm
        there = named in self.shop.slip_left(name)
        body = {"plate": named, "readings": [nm(reading)], "agreed": True, **({"then": then} if then else {})}
        reply = self.act(f"matches/{name}/pull-check/", body)
        if not there:
            return self.refused(reply, 409, "wrong_state")
        left = self.shop.may_have_left(name, named, reading)
        if left:
            self.went_in(name, named, left, reading, reply)
        elif not then:
            self.refused(reply, 409, "pull_mismatch")
        elif then == "keep":
            self.went_in(name, named, {named}, reading, reply)
        elif match.fated:
            self.refused(reply, 409, "wrong_state")
        else:
            assert reply.status == 200, reply
            self.shop.lay(named, reading)
            self.shop.open_again(name)
            self.shop.show(name, reply.body)
            self.shop.offers_free(name)
        return None

    def went_in(self, name: str, named: str, left: set[str], reading: int, reply: Reply) -> None:
        """One of ``left`` goes into the pack as it was read; where the slip had another one, that never left."""
        assert reply.status == 200, reply
        match = self.shop.matches[name]
        slip = [row["plate"] for row in reply.body["slip"]]
        new = set(slip) - set(match.slip)
        (it,) = new or [row["plate"] for row in reply.body["slip"] if row["pulled"] and row["plate"] in left][-1:]
        assert it in left, "another plate left than the reading tells"
        if new:
            self.shop.move(named, "on_shelf")
        self.shop.move(it, "taken", name)
        self.shop.plates[it].thickness_nm = reading
        match.slip = slip
        match.read = {row["plate"] for row in reply.body["slip"] if row["pulled"]}
        match.options, match.outs = reply.body["options"], reply.body["outs"]

    @precondition(any_match)
    @rule(number=ANY, reading=st.sampled_from([CLOSES, MISSES]))
    def final(self, number: int, reading: dict[str, Any]) -> None:
        name = self.a_match(number, "taken")
        match = self.shop.matches[name]
        reply = self.act(f"matches/{name}/final/", reading)
        if match.state != "taken" or len(self.shop.slip_left(name)) < len(match.slip):
            return self.refused(reply, 409, "wrong_state")
        assert reply.status == 200, reply
        assert reply.body["state"] == ("closed" if reading is CLOSES else "open")
        match.state = reply.body["state"]
        self.shop.show(name, reply.body)
        if match.state == "open":
            match.slip = []
            self.shop.offers_free(name)
        return None

    @precondition(any_match)
    @rule(number=ANY, which=ANY, fate=st.sampled_from(["shelf", "job", "scrap", "customer"]))
    def came_out(self, number: int, which: int, fate: str) -> None:
        name = self.a_match(number, "taken", "closed")
        match = self.shop.matches[name]
        left = [row for row in match.outs if row["fate"] is None]
        if not left:
            return
        row = left[which % len(left)]
        thickness = row["thickness"]["nm"]
        out = {"slot": row["slot"], "thickness": nm(thickness), "fate": fate}
        read = {"readings": [nm(thickness)], "confirm": True} if fate == "shelf" else {}
        reply = self.act(f"matches/{name}/outs/", {"outs": [{**out, **read}]})
        assert reply.status == 200, reply
        told = [one for one in reply.body["outs"] if one["fate"]][-1]
        match.outs, match.fated = reply.body["outs"], match.fated or match.state == "taken"
        if told["plate"] in self.shop.plates:
            ours = self.shop.plates[told["plate"]]
            assert (ours.state, ours.holder) == ("taken", name), "what came out is taken for another pack"
            if fate == "shelf":
                self.shop.lay(told["plate"], thickness)
            elif fate == "scrap":
                self.shop.move(told["plate"], "scrapped")
        elif told["plate"]:
            self.shop.receive(told["plate"], thickness)

    # --- one plate ---

    @precondition(any_plate)
    @rule(number=ANY, thickness=THICK)
    def put_back(self, number: int, thickness: int) -> None:
        name = self.a_plate(number, "taken", "handed_out")
        reply = self.act(f"plates/{name}/put-back/", {"readings": [nm(thickness)], "confirm": True})
        if self.shop.plates[name].state not in ("taken", "handed_out"):
            return self.refused(reply, 409, "wrong_state")
        assert reply.status == 200, reply
        return self.shop.lay(name, thickness)

    @precondition(any_plate)
    @rule(number=ANY, thickness=THICK)
    def rework(self, number: int, thickness: int) -> None:
        name = self.a_plate(number, "on_shelf", "taken", "handed_out")
        body = {"readings": [nm(thickness)], "reason": "face ground", "confirm": True}
        reply = self.act(f"plates/{name}/rework/", body)
        if self.shop.plates[name].state not in ("on_shelf", "taken", "handed_out"):
            return self.refused(reply, 409, "wrong_state")
        assert reply.status == 200, reply
        self.shop.move(name, "reworked")
        return self.shop.receive(reply.body["id"], thickness)

    @precondition(any_plate)
    @rule(number=ANY)
    def scrap(self, number: int) -> None:
        name = self.a_plate(number, "on_shelf", "taken", "handed_out")
        reply = self.act(f"plates/{name}/scrap/", {"reason": "hot spot"})
        if self.shop.plates[name].state not in ("on_shelf", "taken", "handed_out"):
            return self.refused(reply, 409, "wrong_state")
        assert reply.status == 200, reply
        return self.shop.move(name, "scrapped")

    # --- over the counter ---

    @precondition(any_plate)
    @rule(numbers=st.lists(ANY, min_size=1, max_size=3))
    def hand_out(self, numbers: list[int]) -> None:
        names = sorted({self.a_plate(number, "on_shelf") for number in numbers})
        reply = self.act("hand-outs/", {"plates": names, "reason": "lent"})
        if any(self.shop.plates[name].state != "on_shelf" for name in names):
            return self.refused(reply, 409, "wrong_state")
        assert (reply.status, reply.body["plates"]) == (201, names)
        for name in names:
            self.shop.move(name, "handed_out")
        return None

    @rule(code=st.sampled_from(sorted(BINS)), count=st.integers(1, 2))
    def hand_out_of_a_bin(self, code: str, count: int) -> None:
        free = [name for name in self.shop.lying_in(code) if self.shop.plates[name].state == "on_shelf"]
        reply = self.act("hand-outs/", {"bin": code, "count": count, "reason": "cash"})
        if len(free) < count:
            return self.refused(reply, 409, "stock_moved")
        assert (reply.status, reply.body["plates"]) == (201, free[:count])
        for name in free[:count]:
            self.shop.move(name, "handed_out")
        return None

    @rule(code=st.sampled_from(sorted(BINS)), missing=st.none() | ANY)
    def count(self, code: str, missing: int | None) -> None:
        lying = self.shop.lying_in(code)
        left_out = lying[missing % len(lying)] if lying and missing is not None else None
        path = f"counts/{self.act('counts/', {'bin': code}).body['id']}"
        for name in lying:
            if name != left_out:
                body = {"readings": [nm(self.shop.plates[name].thickness_nm)]}
                assert self.act(f"{path}/read/", body).status == 200
        answer = self.act(f"{path}/all-read/", {}).body
        if left_out is None:
            assert answer["state"] == "booked", answer
            return
        (missed,) = answer["look"]["missing"]
        assert missed["plate"] in lying and not answer["look"]["over"]
        booked = self.act(f"{path}/book/", {"gone": [missed["plate"]]})
        assert (booked.status, booked.body["state"]) == (200, "booked")
        if self.shop.plates[missed["plate"]].state == "on_shelf":  # what is held stays promised
            self.shop.move(missed["plate"], "handed_out")

    # --- time and the line ---

    @rule()
    def holds_run_out(self) -> None:
        clocks.jump(self.urls, self.owner.shop_id, timedelta(days=1))
        for name, match in self.shop.matches.items():
            if match.state == "held":
                self.shop.open_again(name)

    @rule(number=ANY)
    def sent_again(self, number: int) -> None:
        path, body, key, reply = self.done[number % len(self.done)]
        assert self.api.post(path, body, key) == reply
        self.refused(self.api.post(path, {**body, "more": 1}, key), 422, "key_reused")

    # --- what must hold ---

    @invariant()
    def shelf_and_model_agree(self) -> None:
        listed = self.api.get("plates/", page_size="1000").body
        assert listed["next"] is None
        stands = {
            one["id"]: (one["state"], one["bin"], one["thickness"]["nm"], holder_of(one)) for one in listed["results"]
        }
        plates = self.shop.plates
        assert stands == {name: (p.state, p.bin, p.thickness_nm, p.holder) for name, p in plates.items()}
        matches = {one["id"]: one["state"] for one in self.api.get("matches/", page_size="1000").body["results"]}
        assert matches == {name: match.state for name, match in self.shop.matches.items()}

    def teardown(self) -> None:
        assert list(differences()) == []


def test_any_acts_in_any_order(fresh_db: Urls) -> None:
    machine = type("OfThisDatabase", (Machine,), {"urls": fresh_db})
    settings = hypothesis.settings(
        max_examples=int(EXAMPLES or 15),
        stateful_step_count=int(STEPS or 40),
        derandomize=EXAMPLES is None,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(machine, settings=settings)
