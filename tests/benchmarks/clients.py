"""Clients of two kinds, each a process: one of the service, and one that does the same by hand on the bare database.

This module loads no Django: many clients start at once.
"""

import json
import multiprocessing
import statistics
import time
import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from http.client import HTTPConnection
from queue import Empty
from typing import Any, NamedTuple

import psycopg
from psycopg.rows import dict_row
from psycopg.types.json import Json


def at_once(task: Callable[..., None], where: Any, works: Sequence[Any], patience: float = 300) -> list[Any]:
    """What each client found, in any order. ``task``: called with ``where``, its work, the gate at which all wait for
    each other, and the queue for what it found. Raises RuntimeError when a client ends, or lets wait, without a word.
    """
    context = multiprocessing.get_context("spawn")
    gate, found = context.Barrier(len(works), timeout=patience), context.Queue()
    clients = [context.Process(target=task, args=(where, work, gate, found), daemon=True) for work in works]
    for client in clients:
        client.start()
    said: list[Any] = []
    until = time.monotonic() + patience
    while len(said) < len(clients):
        try:
            said.append(found.get(timeout=1))
        except Empty:
            if any(client.exitcode for client in clients) or time.monotonic() > until:
                raise RuntimeError(f"{len(clients) - len(said)} of {len(clients)} clients said nothing") from None
    for client in clients:
        client.join()
    return said


def figures(calls: Sequence[tuple[float, float]]) -> tuple[float, float, float]:
    """(p50, p99) in ms and calls a second, of (begin, end) of each call in seconds."""
    times = sorted(1e3 * (end - begin) for begin, end in calls)
    whole = max(end for _, end in calls) - min(begin for begin, _ in calls)
    return statistics.median(times), times[int(0.99 * (len(times) - 1))], len(calls) / whole


class Wire:
    """One kept-alive connection to the service, with a token; every POST has an Idempotency-Key of its own."""

    def __init__(self, port: int, token: str) -> None:
        self.connection = HTTPConnection("127.0.0.1", port, timeout=60)
        self.token = token

    def get(self, path: str) -> tuple[int, Any]:
        return self._send("GET", path, None, {})

    def post(self, path: str, body: Any) -> tuple[int, Any]:
        headers = {"Content-Type": "application/json", "Idempotency-Key": str(uuid.uuid4())}
        return self._send("POST", path, json.dumps(body), headers)

    def _send(self, method: str, path: str, body: str | None, headers: dict[str, str]) -> tuple[int, Any]:
        try:
            headers["Authorization"] = f"Token {self.token}"
            self.connection.request(method, f"/api/v1/{path}", body, headers)
            reply = self.connection.getresponse()
            return reply.status, json.loads(reply.read())
        except BaseException:
            self.connection.close()  # half an answer may still be on its way; the next request opens it anew
            raise


# The bare script. Statements as a database programmer would write them for this schema.
KEY = "INSERT INTO shop_requestkey (id, shop_id, person_id, key, fingerprint) VALUES (%s, %s, %s, %s, %s)"
STORED = "UPDATE shop_requestkey SET status = %s, answer = %s WHERE id = %s"
NUMBER = "UPDATE shop_counter SET value = value + 1 WHERE shop_id = %s AND name = 'match' RETURNING value"
SHELF = (
    "SELECT id, thickness_nm, revision FROM plates_plate WHERE shop_id = %s AND fit_id = %s AND role = 'steel'"
    " AND state = 'on_shelf'"
)
MATCH = "SELECT state, options, job_id FROM plates_match WHERE shop_id = %s AND id = %s FOR NO KEY UPDATE"
PLATES_LOCKED = (
    "SELECT id, revision FROM plates_plate WHERE shop_id = %s AND id = ANY(%s) AND state = %s ORDER BY id FOR UPDATE"
)
MOVED = """
WITH moved AS (
  UPDATE plates_plate SET state = %(state)s, revision = revision + 1, match_id = %(holder)s,
         held_until = CASE WHEN %(act)s::text = 'held' THEN now() + interval '1 hour' END
   WHERE shop_id = %(shop)s AND id = ANY(%(plates)s) RETURNING *
)
INSERT INTO plates_ledgerline (id, shop_id, plate_id, seq, delta, balance, act, state, bin_id, thickness_nm, spread_nm,
                               u_nm, match_id, held_until, readings, findings, gauge, reason, person_id, at)
SELECT l.id, m.shop_id, m.id, m.revision, %(delta)s, %(balance)s, %(act)s, m.state, m.bin_id, m.thickness_nm,
       m.spread_nm, m.u_nm, %(match)s, m.held_until, %(readings)s, '{}', '', '', %(person)s, now()
  FROM moved m JOIN unnest(%(plates)s::uuid[], %(lines)s::uuid[]) l(plate, id) ON l.plate = m.id
"""
MATCH_TAKEN = (
    "UPDATE plates_match SET state = 'taken', option_taken = %s, taken_by_id = %s, built = %s, slip = %s,"
    " taken_at = now() WHERE shop_id = %s AND id = %s"
)
MATCH_HELD = (
    "UPDATE plates_match SET state = 'held', option_taken = %s, options = %s, held_until = now() + interval '1 hour'"
    " WHERE shop_id = %s AND id = %s"
)
MATCH_RELEASED = (
    "UPDATE plates_match SET state = 'open', option_taken = NULL, held_until = NULL, options = %s,"
    " next_option = next_option + %s WHERE shop_id = %s AND id = %s"
)
KIND_AND_BIN = """
SELECT k.id, k.fit_id, b.id FROM plates_kind k
  LEFT JOIN plates_bin b ON b.shop_id = k.shop_id AND b.fit_id = k.fit_id AND b.role = k.role
       AND b.from_nm <= %(thickness)s AND %(thickness)s < b.to_nm
 WHERE k.shop_id = %(shop)s AND k.code = %(kind)s
"""
RECEIVED = """
WITH made AS (
  INSERT INTO plates_plate (id, shop_id, kind_id, fit_id, role, bin_id, thickness_nm, spread_nm, u_nm, state, revision,
                            condition, source, owner, box, mark, gauge, made_key)
  VALUES (%(plate)s, %(shop)s, %(kind)s, %(fit)s, 'steel', %(bin)s, %(thickness)s, 0, 0, 'on_shelf', 1,
          'new', '', '', '', '', '', %(key)s) RETURNING *
)
INSERT INTO plates_ledgerline (id, shop_id, plate_id, seq, delta, balance, act, state, bin_id, thickness_nm, spread_nm,
                               u_nm, readings, findings, gauge, reason, person_id)
SELECT %(line)s, shop_id, id, 1, 1, 1, 'received', state, bin_id, thickness_nm, 0, 0, %(readings)s, '{}', '', '',
       %(person)s FROM made
"""
MATCH_READ = "SELECT * FROM plates_match WHERE shop_id = %s AND id = %s"
BIN_COUNTED = "SELECT count(*) FROM plates_plate WHERE shop_id = %s AND bin_id = %s"
BIN_READ = "SELECT * FROM plates_plate WHERE shop_id = %s AND bin_id = %s ORDER BY id LIMIT 100"


class Refused(Exception):
    """Another client was first; ``str`` is the code."""


class Move(NamedTuple):
    """How a plate changes with an act. ``of``: the state that it must be in."""

    act: str
    of: str
    to: str
    delta: int
    balance: int


TAKE = Move("taken", "on_shelf", "taken", -1, 0)
HOLD = Move("held", "on_shelf", "held", 0, 1)
RELEASE = Move("released", "held", "on_shelf", 0, 1)
PUT_BACK = Move("put_back", "taken", "on_shelf", 1, 1)


class Bare:
    """One connection to the database, and the acts by hand: the same locks, rows and stored answers, without search,
    validation or JSON shapes. An act is what stands within one :meth:`once`.
    """

    def __init__(self, url: str, shop: uuid.UUID, person: uuid.UUID) -> None:
        self.connection = psycopg.connect(url)
        self.shop, self.person = shop, person

    @contextmanager
    def once(self, status: int, answer: Any) -> Iterator[tuple[Any, uuid.UUID]]:
        """One transaction with its key and its stored answer; gives (cursor, key)."""
        with self.connection.transaction(), self.connection.cursor() as cursor:
            key = uuid.uuid4()
            cursor.execute(KEY, [key, self.shop, self.person, str(key), "0" * 64])
            yield cursor, key
            cursor.execute(STORED, [status, Json(answer), key])

    def shelf(self, cursor: Any, fit: uuid.UUID) -> list[tuple[uuid.UUID, int, int]]:
        """(plate, thickness_nm, revision) of all steels of this fit."""
        found: list[tuple[uuid.UUID, int, int]] = cursor.execute(SHELF, [self.shop, fit]).fetchall()
        return found

    def match_insert(self, cursor: Any, row: dict[str, Any]) -> None:
        """A match as this row has it, with the next number."""
        (number,) = cursor.execute(NUMBER, [self.shop]).fetchone()
        row = {**row, "number": number}
        names, marks = ", ".join(f'"{name}"' for name in row), ", ".join(["%s"] * len(row))
        values = [Json(value) if isinstance(value, dict | list) else value for value in row.values()]
        cursor.execute(f"INSERT INTO plates_match ({names}) VALUES ({marks})", values)

    def option_move(self, cursor: Any, match: uuid.UUID, move: Move) -> tuple[dict[str, Any], list[dict[str, Any]]]:
        """Match and plates locked, the plates of its first option that takes something moved. That option and all of
        them; raises :class:`Refused` where a plate is not as it was seen.
        """
        _, options, _ = cursor.execute(MATCH, [self.shop, match]).fetchone()
        option = next(one for one in options if one["in"])
        seen = {row["plate"]: row["revision"] for row in option["in"]}
        if self.plates_lock(cursor, seen, move) != seen:
            raise Refused("stock_moved")
        self.plates_move(cursor, match, seen, move)
        for row in option["in"]:
            row["revision"] += 1
        return option, options

    def plates_lock(self, cursor: Any, plates: Iterable[str], move: Move) -> dict[str, int]:
        """The revision of each of these plates that is in the state for this move."""
        wanted = [uuid.UUID(plate) for plate in plates]
        rows = cursor.execute(PLATES_LOCKED, [self.shop, wanted, move.of]).fetchall()
        return {str(plate): revision for plate, revision in rows}

    def plates_move(
        self, cursor: Any, match: uuid.UUID, plates: Iterable[str], move: Move, readings: Sequence[str] = ()
    ) -> None:
        ids = [uuid.UUID(plate) for plate in plates]
        values = {
            "shop": self.shop, "person": self.person, "plates": ids, "lines": [uuid.uuid4() for _ in ids],
            "state": move.to, "act": move.act, "delta": move.delta, "balance": move.balance, "match": match,
            "holder": match if move.to in ("held", "taken") else None, "readings": Json(list(readings)),
        }  # fmt: skip
        cursor.execute(MOVED, values)

    def rows(self, statement: str, values: Sequence[Any]) -> list[Any]:
        """What is read in a transaction of its own, without locks."""
        with self.connection.transaction(), self.connection.cursor() as cursor:
            found: list[Any] = cursor.execute(statement, values).fetchall()
            return found

    def take(self, cursor: Any, match: uuid.UUID) -> dict[str, Any]:
        """The option taken. Raises :class:`Refused`."""
        option, _ = self.option_move(cursor, match, TAKE)
        values = [option["number"], self.person, Json(option), Json(option["in"]), self.shop, match]
        cursor.execute(MATCH_TAKEN, values)
        return option


def match_row(url: str, match: str) -> dict[str, Any]:
    """A match as the service stored it, to be stored anew by hand."""
    with psycopg.connect(url, row_factory=dict_row) as connection:
        (row,) = connection.execute("SELECT * FROM plates_match WHERE id = %s", [match]).fetchall()
    return row
