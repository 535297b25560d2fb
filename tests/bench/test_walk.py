"""Plates of one job that go from pack to pack, on random ways: whatever is done, each is in one place."""

import random
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from plates.bench.locks import matches_seen
from plates.bench.models import Match
from plates.bench.slip.outs import outs_open
from plates.lengths import INCH
from plates.stock.models import Plate
from plates.stock.verify import differences
from shop.people.models import Person
from tests.api import Api, Reply
from tests.shelves import Shelf, nm, question, shelf_of

pytestmark = pytest.mark.django_db

TENTH = INCH // 10_000
STEPS = 40
#: What an act may be refused with: it came too late, or does not go with what was done before.
REFUSED = {"wrong_state", "stock_moved", "part_lacks"}


class Walk:
    """One job, its packs and a shelf. No two plates are equally thick, so that a thickness names one."""

    def __init__(self, seed: int, shelf: Shelf) -> None:
        self.rng = random.Random(f"walk {seed}")
        self.shelf, self.api = shelf, Api(shelf.person)
        self.fresh = iter(self.rng.sample(range(640 * TENTH, 900 * TENTH, TENTH), 260))
        self.done = Counter[str]()
        #: Plates that were put back although a slip has them, by match.
        self.gone: dict[str, set[str]] = {}

    def step(self) -> None:
        """One act, drawn among those that there is something for."""
        acts: list[Callable[[], Reply | None]] = [
            self.ask, self.take, self.hold, self.release, self.release, self.plan, self.plan, self.final, self.out,
            self.out, self.put_back,
        ]  # fmt: skip
        if sum(match.state in ("open", "held") for match in self.matches()) < 3:
            self.ask()
            self.ask()
            self.stock()
        reply = None
        while reply is None:
            act = self.rng.choice(acts)
            reply = act()
        assert reply.status in (200, 201) or reply.code in REFUSED, (act.__name__, reply)
        if reply.status in (200, 201):
            self.done[act.__name__] += 1

    def some(self, *states: str) -> Match | None:
        found = [match for match in self.matches() if match.state in states]
        return self.rng.choice(found) if found else None

    def matches(self) -> list[Match]:
        ids = Match.objects.values_list("pk", flat=True)
        found = matches_seen(person=self.shelf.person, match_ids=ids).values()
        return sorted(found, key=lambda match: match.number)

    # --- the acts

    def act(self, match: Match, name: str, **body: Any) -> Reply:
        return self.api.post(f"matches/{match.pk}/{name}/", body)

    def ask(self) -> Reply:
        steels = [nm(next(self.fresh)) for _ in range(5)]
        reading = nm(self.rng.randrange(350 * TENTH, 750 * TENTH, TENTH))
        return self.api.post("matches/", question(reading, steels, job="J-1", max_changes=self.rng.randint(1, 2)))

    def stock(self) -> None:
        self.shelf.stock(nm(next(self.fresh)))

    def _option(self, name: str) -> Reply | None:
        found = [match for match in self.matches() if match.state in ("open", "held") and match.options]
        if not found:
            return None
        match = self.rng.choice(found)
        offered = match.standing or match.options
        off_bench = [option for option in offered if any(row["out_of"] for row in option["in"])]
        option = self.rng.choice(off_bench or offered)
        return self.act(match, name, option=option["number"], counted=True)

    def take(self) -> Reply | None:
        return self._option("take")

    def hold(self) -> Reply | None:
        return self._option("hold")

    def release(self) -> Reply | None:
        found = [match for match in self.matches() if match.state == "held" or str(match.pk) in self.gone]
        if not found:
            return None
        match = self.rng.choice(found)
        reply = self.act(match, "release")
        if reply.status == 200:
            self.gone.pop(str(match.pk), None)
        return reply

    def plan(self) -> Reply | None:
        free = [str(match.pk) for match in self.matches() if match.state in ("open", "held")]
        if len(free) < 2:
            return None
        chosen = self.rng.sample(free, self.rng.randint(2, min(4, len(free))))
        body: dict[str, Any] = {"matches": chosen, "take": self.rng.random() < 0.6}
        if body["take"]:
            body |= {"accept_marginal": True, "counted": True}
            if self.rng.random() < 0.4:
                body["only"] = self.rng.sample(chosen, self.rng.randint(1, len(chosen)))
        reply = self.api.post("bench-plan/", body)
        if reply.status == 400:  # one was chosen that the plan does not close
            assert reply.body["errors"][0]["pointer"].startswith("/only/"), reply
            return None
        return reply

    def final(self) -> Reply | None:
        match = self.some("taken")
        if match is None:
            return None
        assert match.built is not None
        off = self.rng.random() < 0.7
        reading = self.rng.choice((360 * TENTH, 700 * TENTH)) if off else match.built["predicted_nm"]
        return self.act(match, "final", readings=[nm(reading)] * 3, method="feeler")

    def out(self) -> Reply | None:
        rows = [(match, row) for match in self.matches() for row in outs_open(match)]
        if not rows:
            return None
        match, row = self.rng.choice(rows)
        out = {"slot": row["slot"], "thickness": nm(row["thickness_nm"])}
        return self.act(match, "outs", outs=[{**out, "fate": self.rng.choice(("pack", "pack", "pack", "customer"))}])

    def put_back(self) -> Reply | None:
        match = self.some("taken")
        if match is None:
            return None
        gone = self.gone.get(str(match.pk), set())
        rows = [row for row in match.slip if row["plate"] and row["plate"] not in gone]
        if not rows:
            return None
        row = self.rng.choice(rows)
        body = {"readings": [nm(row["thickness_nm"])], "confirm": True}
        reply = self.api.post(f"plates/{row['plate']}/put-back/", body)
        if reply.status == 200:
            self.gone.setdefault(str(match.pk), set()).add(row["plate"])
        return reply

    # --- what holds after each

    def stack(self, match: Match) -> Iterator[tuple[int, str]]:
        """(thickness in nm, id or blank) of what is in the pack now."""
        built = match.built_now or {"in": [], "out": []}
        out = {row["row"] for row in built["out"]}
        for row, entry in enumerate(match.question["installed"]["steels"]):
            if row not in out:
                yield entry["thickness_nm"], entry["plate"]
        for row in built["in"]:
            if row["plate"] not in self.gone.get(str(match.pk), ()):
                yield row["thickness_nm"], row["plate"] or ""

    def check(self) -> None:
        matches = self.matches()
        packed = [(match, *one) for match in matches for one in self.stack(match)]
        twice = [thickness_nm for thickness_nm, count in Counter(nm for _, nm, _ in packed).items() if count > 1]
        assert not twice, "in two packs"
        plates = {str(plate.pk): plate for plate in Plate.objects.all()}
        for match, _, plate in packed:
            assert not plate or (plates[plate].state, plates[plate].match_id) == ("taken", match.pk)
        inside = {thickness_nm for _, thickness_nm, _ in packed}
        assert not inside & {one.thickness_nm for one in plates.values() if one.state in ("on_shelf", "held")}

        records = {(str(one.pk), out["option"], out["row"]): out for one in matches for out in one.outs}
        assert len(records) == sum(len(one.outs) for one in matches), "one plate came out twice"
        built = [(one, option) for one in matches for option in one.options if option.get("was_built")]
        built += [(one, one.built_now) for one in matches if one.built_now]
        uses = [
            (one.number, (row["out_of"]["match"], row["out_of"]["option"], row["out_of"]["row"]))
            for one, option in built
            for row in option["in"]
            if row["out_of"]
        ]
        assert len({key for _, key in uses}) == len(uses), "used twice"
        said = {(out["used_by"], key) for key, out in records.items() if out.get("used_by")}
        assert set(uses) == said, "the records say otherwise"
        self.done["from pack to pack"] = max(self.done["from pack to pack"], len(uses))
        assert list(differences()) == []


@pytest.mark.parametrize("seed", [6, 7])
def test_each_plate_is_in_one_place(owner: Person, seed: int) -> None:
    walk = Walk(seed, shelf_of(owner))
    for _ in range(4):
        walk.ask()
        walk.stock()
    for _ in range(STEPS):
        walk.step()
        walk.check()
    assert walk.done["from pack to pack"] > 1
