"""Clients that send everything twice and until it is answered, and what must then stand in the ledger.

A line of the ledger is told by (act, plate, what tells it from another such line of that plate): the match or the
hand-out that a plate left for, the number of its line where it came back.
"""

import json
import random
import threading
import time
import uuid
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from http.client import HTTPException
from typing import Any

from plates.lengths import length_parse
from plates.stock.ledger_models import LedgerLine
from plates.stock.verify import differences
from shop.people.models import Person, RequestKey
from tests.faults.world import ASK, scan
from tests.service import Call, Reply, Service
from tests.shelves import nm

Line = tuple[str, str, str | None]
#: Answers after which the same request is sent again with its key.
AGAIN = (500, 502, 503)
THICK = [length_parse(f"{text} in") for text in ("0.0766", "0.0768", "0.0770", "0.0772", "0.0774")]


def lines_of(path: str, answer: dict[str, Any]) -> set[Line]:
    """The lines that an answered act must have left in the ledger."""
    act = path.strip("/").split("/")[-1]
    if act in ("matches", "take"):
        return {("taken", row["plate"], answer["id"]) for row in answer["slip"]}
    if act == "hold":
        (option,) = [one for one in answer["options"] if one["number"] == answer["option_taken"]]
        return {("held", row["plate"], answer["id"]) for row in option["in"]}
    if act == "hand-outs":
        return {("handed_out", plate, answer["id"]) for plate in answer["plates"]}
    name = {"plates": "received", "put-back": "put_back", "scrap": "scrapped"}[act]
    return {(name, answer["id"], str(answer["revision"]) if act == "put-back" else None)}


def lines_stored(shop_id: uuid.UUID) -> Counter[Line]:
    """What the ledger has, but holds that were given back."""
    apart = {"taken": "match_id", "held": "match_id", "handed_out": "hand_out_id", "put_back": "seq"}
    rows = LedgerLine.objects.filter(shop_id=shop_id).exclude(act__in=("released", "ran_out"))
    return Counter(
        (row["act"], str(row["plate_id"]), str(row[apart[row["act"]]]) if row["act"] in apart else None)
        for row in rows.values("act", "plate_id", "match_id", "hand_out_id", "seq")
    )


@dataclass
class Tally:
    """What the clients were told. ``answers``: by key, the path and the answer of an act that was done; ``failed``: how
    often there was no answer, or one that says nothing of the act.
    """

    answers: dict[str, tuple[str, dict[str, Any]]] = field(default_factory=dict)
    sent: int = 0
    retried: int = 0
    failed: int = 0
    refused: int = 0
    faults: int = 0
    contradicted: int = 0
    unanswered: int = 0


@dataclass(frozen=True)
class Table:
    """One run. ``lost``: lines of acknowledged acts that are not in the ledger; ``doubled``: lines there that no
    acknowledged act accounts for, or that stand there twice; ``contradicted``: acts whose two copies got two answers.
    """

    acknowledged: int
    stored: int
    sent: int
    retried: int
    refused: int
    faults: int
    unanswered: int
    contradicted: int
    lost: int
    doubled: int
    differences: int

    @property
    def whole(self) -> bool:
        return not (self.unanswered or self.contradicted or self.lost or self.doubled or self.differences)

    def __str__(self) -> str:
        return "\n".join(f"{name:>13} {value:>7}" for name, value in vars(self).items())


class Clients:
    """So many clients of one service, each with a flow of acts; each act is sent twice at once, under one key."""

    def __init__(self, owner: Person, token: str, service: Service, seed: int) -> None:
        self.owner, self.token, self.service, self.seed = owner, token, service, seed
        self.tally, self.lock = Tally(), threading.Lock()
        self.ended: float | None = None

    def run(self, clients: int, enough: Callable[[], bool], patience: float) -> Tally:
        """Until it is ``enough``; ``patience``: seconds after that within which what was begun must be answered."""
        self.enough, self.patience = enough, patience
        with ThreadPoolExecutor(clients) as flows, ThreadPoolExecutor(2 * clients) as self.senders:
            for done in [flows.submit(self.client, number) for number in range(clients)]:
                done.result()
        return self.tally

    def client(self, number: int) -> None:
        chance = random.Random(f"{self.seed}-{number}")
        while not self.enough():
            chance.choice([self.takes, self.holds, self.hands_out, self.scraps])(chance)

    def takes(self, chance: random.Random) -> None:
        self.twice("plates/", scan(chance.choice(THICK)))
        match = self.twice("matches/", {**ASK, "take": True})
        if match and match["slip"]:
            self.puts_back(match["slip"][0]["plate"], chance)

    def holds(self, chance: random.Random) -> None:
        self.twice("plates/", scan(chance.choice(THICK)))
        match = self.twice("matches/", ASK)
        if match and match["options"]:
            option = {"option": match["options"][0]["number"]}
            if self.twice(f"matches/{match['id']}/hold/", option):
                self.twice(f"matches/{match['id']}/take/", option)

    def hands_out(self, chance: random.Random) -> None:
        made = self.twice("hand-outs/", {"bin": "B-2", "count": chance.choice([1, 2]), "reason": "lent"})
        if made:
            self.puts_back(made["plates"][0], chance)

    def scraps(self, chance: random.Random) -> None:
        made = self.twice("plates/", scan(chance.choice(THICK)))
        if made:
            self.twice(f"plates/{made['id']}/scrap/", {"reason": "hot spot"})

    def puts_back(self, plate: str, chance: random.Random) -> None:
        self.twice(f"plates/{plate}/put-back/", {"readings": [nm(chance.choice(THICK))], "confirm": True})

    def twice(self, path: str, body: dict[str, Any]) -> dict[str, Any] | None:
        """One act, by two copies under one key; its answer when it was done."""
        call = Call(path, body, str(uuid.uuid4()))
        replies = [one.result() for one in [self.senders.submit(self.deliver, call) for _ in range(2)]]
        done = [reply.body for reply in replies if reply is not None and reply.status < 300]
        with self.lock:
            self.tally.unanswered += None in replies
            if done:
                self.tally.contradicted += any(body != done[0] for body in done)
                self.tally.answers[str(call.key)] = path, done[0]
            elif None not in replies:
                self.tally.refused += 1
        return done[0] if done else None

    def patient(self) -> bool:
        if self.ended is None and self.enough():
            self.ended = time.monotonic()
        return self.ended is None or time.monotonic() < self.ended + self.patience

    def deliver(self, call: Call) -> Reply | None:
        """Sent until it is answered; None when nobody answers for longer than is patient."""
        tries = 0
        while self.patient():
            with self.lock:
                self.tally.sent += 1
                self.tally.retried += tries > 0
            tries += 1
            try:
                reply = self.service.post(self.token, call)
            except (OSError, HTTPException, json.JSONDecodeError):  # cut off
                reply = None
            if reply is None or reply.status in AGAIN:
                with self.lock:
                    self.tally.failed += 1
                    self.tally.faults += reply is not None and reply.status == 500
            elif reply.body.get("code") != "busy":
                return reply
            time.sleep(min(0.5, 0.05 * tries))  # a killed server takes a moment
        return None


def table_of(tally: Tally, shop_id: uuid.UUID) -> Table:
    """What the clients were told, set against what stands in the database."""
    keys = {row.key: row for row in RequestKey.objects.filter(shop_id=shop_id, status__isnull=False)}
    ledger = lines_stored(shop_id)
    told = {key: lines_of(path, answer) for key, (path, answer) in tally.answers.items()}
    accounted = Counter(line for lines in told.values() for line in lines)
    return Table(
        acknowledged=len(tally.answers),
        stored=len(keys),
        sent=tally.sent,
        retried=tally.retried,
        refused=tally.refused,
        faults=tally.faults,
        unanswered=tally.unanswered,
        contradicted=tally.contradicted,
        lost=sum(key not in keys or keys[key].answer != answer for key, (_, answer) in tally.answers.items())
        + (accounted - ledger).total(),
        doubled=(ledger - accounted).total() + sum(count - 1 for count in accounted.values()),
        differences=len(list(differences())),
    )
