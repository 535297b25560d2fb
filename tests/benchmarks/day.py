"""A terminal's working day, acted on the service or by hand on the bare database: the same acts in the same order.

No act waits for a person. What is taken comes back, so that the shelf lasts. This module loads no Django.
"""

import random
import time
import uuid
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import count
from typing import Any, NamedTuple

from psycopg.types.json import Json

from tests.benchmarks import clients
from tests.benchmarks.clients import HOLD, PUT_BACK, RELEASE, Bare, Refused, Wire

#: Half of all packs are of the first so many fits: there the terminals meet.
BUSY_FITS, BUSY_SHARE = 4, 0.5
#: What a terminal may be refused because of another one; any other refusal is an error.
REFUSED = ("stock_moved", "busy")
#: Thinnest and thickest plate scanned in, in 0.0001 in.
SCANNED = (700, 899)
#: Errors after which a terminal goes home.
USELESS = 20
ACTS = ("scan", "ask", "take", "hold", "release", "put back", "read match", "read bin")


class Place(NamedTuple):
    """A bin."""

    id: uuid.UUID
    code: str


class FitWork(NamedTuple):
    """What terminals need to know of a fit."""

    fit: uuid.UUID
    kind: str
    spec: uuid.UUID
    pack: str
    bins: Sequence[Place]


class Plate(NamedTuple):
    id: str
    thickness_nm: int


class Asked(NamedTuple):
    """A match, and the first of its options that takes something; None where there is none."""

    match: str
    option: int | None


class Failed(Exception):
    """An answer that no terminal should get."""


@dataclass
class Tally:
    """What the terminals were told. ``calls``: (act, begin, end in seconds), done or refused, that began in the counted
    time; all else is of the warming up, too.
    """

    calls: list[tuple[str, float, float]] = field(default_factory=list)
    done: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    errors: list[str] = field(default_factory=list)

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(
            self.calls + other.calls, self.done + other.done, self.refused + other.refused, self.errors + other.errors
        )


class Samples(NamedTuple):
    """What the packs of the day read: ``bodies``. For the bare script, which neither searches nor shapes: ``rows`` and
    ``answers``, the match of each question as the service stored and answered it; ``scanned``, the answer to a scan.
    """

    bodies: Sequence[dict[str, Any]]
    rows: Sequence[dict[str, Any]]
    answers: Sequence[dict[str, Any]]
    scanned: dict[str, Any]


class Work(NamedTuple):
    """Of one terminal: calls of the first ``warm`` seconds are not counted, those of the ``seconds`` after them are. It
    does at least so many ``turns``.
    """

    seed: str
    warm: float
    seconds: float
    turns: int = 0


def typed(thickness_nm: int) -> str:
    """A length as it is sent: ``1.955800 mm``."""
    return f"{thickness_nm // 10**6}.{thickness_nm % 10**6:06} mm"


def found(rows: Sequence[dict[str, Any]], shelf: Sequence[tuple[uuid.UUID, int, int]]) -> list[dict[str, Any]]:
    """These rows of an option, each with the plate of this shelf that is nearest to its thickness, the oldest first."""
    left, put_in = list(shelf), []
    for row in rows[: len(left)]:
        nearest = min(left, key=lambda plate: (abs(plate[1] - row["thickness_nm"]), plate[0]))
        left.remove(nearest)
        plate, thickness_nm, revision = nearest
        put_in.append({**row, "plate": str(plate), "thickness_nm": thickness_nm, "revision": revision})
    return put_in


class Served:
    """The acts, over the service."""

    def __init__(self, port: int, token: str, samples: Samples) -> None:
        self.wire, self.samples = Wire(port, token), samples

    def scan(self, one: FitWork, thickness_nm: int) -> None:
        self._post("plates/", {"kind": one.kind, "readings": [typed(thickness_nm)], "confirm": True})

    def ask(self, one: FitWork, question: int) -> Asked:
        answer = self._post("matches/", {**self.samples.bodies[question], "spec": one.pack})
        takes = [option["number"] for option in answer["options"] if option["in"]]
        return Asked(answer["id"], takes[0] if takes else None)

    def take(self, asked: Asked) -> list[Plate]:
        answer = self._post(f"matches/{asked.match}/take/", {"option": asked.option})
        return [Plate(row["plate"], row["thickness"]["nm"]) for row in answer["slip"]]

    def hold(self, asked: Asked) -> None:
        self._post(f"matches/{asked.match}/hold/", {"option": asked.option})

    def release(self, one: FitWork, asked: Asked) -> None:
        self._post(f"matches/{asked.match}/release/", {})

    def put_back(self, asked: Asked, plate: Plate) -> None:
        self._post(f"plates/{plate.id}/put-back/", {"readings": [typed(plate.thickness_nm)], "confirm": True})

    def read_match(self, asked: Asked) -> None:
        self._answer(*self.wire.get(f"matches/{asked.match}/"))

    def read_bin(self, place: Place) -> None:
        self._answer(*self.wire.get(f"plates/?bin={place.code}"))

    def _post(self, path: str, body: Any) -> Any:
        return self._answer(*self.wire.post(path, body))

    def _answer(self, status: int, body: Any) -> Any:
        if status < 300:
            return body
        if status == 409 and body["code"] in REFUSED:
            raise Refused(body["code"])
        raise Failed(f"{status} {body.get('code')}: {body.get('detail')}")


class ByHand:
    """The acts, on the bare database. In place of a search it looks for plates as thick as those in the options of the
    sample, the oldest first.
    """

    def __init__(self, url: str, shop: uuid.UUID, person: uuid.UUID, samples: Samples) -> None:
        self.bare, self.samples = Bare(url, shop, person), samples
        self.answer: dict[str, Any] = {}

    def scan(self, one: FitWork, thickness_nm: int) -> None:
        bare = self.bare
        with bare.once(201, self.samples.scanned) as (cursor, key):
            values = {"shop": bare.shop, "kind": one.kind, "thickness": thickness_nm}
            kind, fit, place = cursor.execute(clients.KIND_AND_BIN, values).fetchone()
            made = {
                **values, "kind": kind, "fit": fit, "bin": place, "plate": uuid.uuid4(), "line": uuid.uuid4(),
                "person": bare.person, "key": f"{bare.person}:{key}", "readings": Json([typed(thickness_nm)]),
            }  # fmt: skip
            cursor.execute(clients.RECEIVED, made)

    def ask(self, one: FitWork, question: int) -> Asked:
        row, match = self.samples.rows[question], uuid.uuid4()
        self.answer = self.samples.answers[question]
        with self.bare.once(201, self.answer) as (cursor, key):
            shelf = self.bare.shelf(cursor, one.fit)
            options = [{**option, "in": found(option["in"], shelf)} for option in row["options"]]
            mine = {"id": match, "spec_id": one.spec, "options": options, "made_key": f"{self.bare.person}:{key}"}
            self.bare.match_insert(cursor, {**row, **mine})
        return Asked(str(match), next((option["number"] for option in options if option["in"]), None))

    def take(self, asked: Asked) -> list[Plate]:
        with self.bare.once(200, self.answer) as (cursor, _):
            option = self.bare.take(cursor, uuid.UUID(asked.match))
        return [Plate(row["plate"], row["thickness_nm"]) for row in option["in"]]

    def hold(self, asked: Asked) -> None:
        match = uuid.UUID(asked.match)
        with self.bare.once(200, self.answer) as (cursor, _):
            option, options = self.bare.option_move(cursor, match, HOLD)
            cursor.execute(clients.MATCH_HELD, [option["number"], Json(options), self.bare.shop, match])

    def release(self, one: FitWork, asked: Asked) -> None:
        match = uuid.UUID(asked.match)
        with self.bare.once(200, self.answer) as (cursor, _):
            self.bare.shelf(cursor, one.fit)
            _, options = self.bare.option_move(cursor, match, RELEASE)
            cursor.execute(clients.MATCH_RELEASED, [Json(options), len(options), self.bare.shop, match])

    def put_back(self, asked: Asked, plate: Plate) -> None:
        with self.bare.once(200, self.samples.scanned) as (cursor, _):
            locked = self.bare.plates_lock(cursor, [plate.id], PUT_BACK)
            if not locked:
                raise Failed(f"plate {plate.id} is not the one that was taken")
            readings = [typed(plate.thickness_nm)]
            self.bare.plates_move(cursor, uuid.UUID(asked.match), locked, PUT_BACK, readings)

    def read_match(self, asked: Asked) -> None:
        self.bare.rows(clients.MATCH_READ, [self.bare.shop, uuid.UUID(asked.match)])

    def read_bin(self, place: Place) -> None:
        self.bare.rows(clients.BIN_COUNTED, [self.bare.shop, place.id])
        self.bare.rows(clients.BIN_READ, [self.bare.shop, place.id])


class Day:
    """Turn after turn in an order that its seed decides, whatever is answered."""

    def __init__(self, acts: Served | ByHand, fits: Sequence[FitWork], seed: str) -> None:
        self.acts, self.fits, self.chance = acts, fits, random.Random(seed)
        self.tally = Tally()

    def turn(self) -> None:
        """A plate comes in every other time; a pack is asked and taken, the plates put back, or held and released; then
        somebody looks at it, and at a bin.
        """
        chance = self.chance
        one = chance.choice(self.fits[:BUSY_FITS] if chance.random() < BUSY_SHARE else self.fits)
        scans, thickness_nm = chance.random() < 0.5, 2540 * chance.randint(*SCANNED)
        holds, question = chance.random() < 0.25, chance.randrange(len(self.acts.samples.bodies))
        place = chance.choice(one.bins)
        if scans:
            self.act("scan", self.acts.scan, one, thickness_nm)
        done, asked = self.act("ask", self.acts.ask, one, question)
        if done and asked.option is not None:
            self.hold(one, asked) if holds else self.take(asked)
        if done:
            self.act("read match", self.acts.read_match, asked)
        self.act("read bin", self.acts.read_bin, place)

    def take(self, asked: Asked) -> None:
        _, plates = self.act("take", self.acts.take, asked)
        for plate in plates or ():
            self.act("put back", self.acts.put_back, asked, plate)

    def hold(self, one: FitWork, asked: Asked) -> None:
        done, _ = self.act("hold", self.acts.hold, asked)
        if done:
            self.act("release", self.acts.release, one, asked)

    def act(self, name: str, do: Callable[..., Any], *args: Any) -> tuple[bool, Any]:
        """(whether it was done, the answer); what was not done is counted."""
        begin = time.perf_counter()
        done, answer = False, None
        try:
            done, answer = True, do(*args)
            self.tally.done[name] += 1
        except Refused as refused:
            self.tally.refused[f"{name}: {refused}"] += 1
        except Exception as error:  # whatever it is, it is told, and fails the run
            self.tally.errors.append(f"{name}: {type(error).__name__} {error}")
            return False, None
        self.tally.calls.append((name, begin, time.perf_counter()))
        return done, answer


def terminal(where: tuple[Callable[[], Served | ByHand], Sequence[FitWork]], work: Work, gate: Any, found: Any) -> None:
    """One terminal, until its time is up or errors make it useless."""
    acts, fits = where
    day = Day(acts(), fits, work.seed)
    gate.wait()  # before the first act: the service closes connections that idle
    begin = time.perf_counter() + work.warm
    end = begin + work.seconds
    for turn in count():
        if len(day.tally.errors) >= USELESS or (turn >= work.turns and time.perf_counter() >= end):
            break
        day.turn()
    day.tally.calls = [call for call in day.tally.calls if begin <= call[1] < end]
    found.put(day.tally)
