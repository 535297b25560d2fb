"""One act, once: the key, the effect and the stored answer commit together or not at all.

A twin of a running request waits at the unique key and then replays the answer. Only answers of success are stored:
a refused act leaves no key behind, so it may be tried again under the same key. Keys are kept for 30 days; the
thing that a key made carries it for ever, so a later twin is refused instead of acting again.
"""

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

from django.core.serializers.json import DjangoJSONEncoder
from django.db import connection, transaction

from shop.errors import KeyReused, Refusal, constraint, refusals
from shop.people.models import Person
from shop.rows import uuid7

T = TypeVar("T")
KEPT_DAYS = 30

# Some old keys go with each new one; never the row that this statement may write itself.
_CLAIM = """
WITH gone AS (
  DELETE FROM shop_requestkey WHERE shop_id = %(shop)s AND id IN (
    SELECT id FROM shop_requestkey
     WHERE shop_id = %(shop)s AND made_at < now() - make_interval(days => %(days)s)
       AND (person_id, key) <> (%(person)s, %(key)s)
     ORDER BY made_at LIMIT 20 FOR UPDATE SKIP LOCKED)
)
INSERT INTO shop_requestkey (id, shop_id, person_id, key, fingerprint)
VALUES (%(id)s, %(shop)s, %(person)s, %(key)s, %(fingerprint)s)
ON CONFLICT (shop_id, person_id, key) DO UPDATE
   SET fingerprint = excluded.fingerprint, status = NULL, answer = NULL, made_at = now()
 WHERE shop_requestkey.made_at < now() - make_interval(days => %(days)s)
RETURNING id
"""
_FIND = """
SELECT fingerprint, status, answer FROM shop_requestkey
 WHERE shop_id = %s AND person_id = %s AND key = %s AND made_at >= now() - make_interval(days => %s)
"""
_STORE = "UPDATE shop_requestkey SET status = %s, answer = %s WHERE shop_id = %s AND id = %s"


class KeySpent(Refusal):
    status, code, title = 409, "key_spent", "The key has made something before"


def spent(name: str, what: str) -> str:
    """Name of the unique constraint by which ``what`` keeps the key that made it."""
    return constraint(name, KeySpent, f"This Idempotency-Key made a {what} long ago. For a new one, use a new key.")


class Answer(NamedTuple):
    status: int
    body: dict[str, Any]


@dataclass(frozen=True)
class Once:
    """How one request is carried out. Without a key, two equal requests are two acts."""

    person: Person
    key: str | None = None
    fingerprint: str = ""

    @staticmethod
    def print_of(method: str, path: str, body: bytes) -> str:
        """What two requests must share to be the same one: method, path and body."""
        return hashlib.sha256(b"\0".join([method.encode(), path.encode(), body])).hexdigest()

    @property
    def made_key(self) -> str | None:
        """The key as it stays on what it makes; another person's equal key is another key."""
        return f"{self.person.pk}:{self.key}" if self.key else None

    def replay(self) -> Answer | None:
        """The answer that this key got, if it ran; raises :class:`KeyReused` when it was another request."""
        if self.key is None:
            return None
        with connection.cursor() as cursor:
            cursor.execute(_FIND, [self.person.shop_id, self.person.pk, self.key, KEPT_DAYS])
            row = cursor.fetchone()
        if row is None:
            return None
        fingerprint, status, answer = row
        if fingerprint != self.fingerprint:
            raise KeyReused("This Idempotency-Key was used for another request. Use a new key for a new act.")
        return Answer(status, json.loads(answer) if isinstance(answer, str) else answer)

    def run(self, effect: Callable[[], T], render: Callable[[T], Answer]) -> Answer:
        """Carry out ``effect`` in one transaction with its key and its answer, or replay the answer of its twin."""
        with refusals(), transaction.atomic():
            if self.key is None:
                return render(effect())
            claim = self._claim()
            if claim is None:
                earlier = self.replay()
                assert earlier is not None
                return earlier
            answer = render(effect())
            with connection.cursor() as cursor:
                body = json.dumps(answer.body, cls=DjangoJSONEncoder)
                cursor.execute(_STORE, [answer.status, body, self.person.shop_id, claim])
            return Answer(answer.status, json.loads(body))

    def _claim(self) -> Any:
        values = {
            "id": uuid7(),
            "shop": self.person.shop_id,
            "person": self.person.pk,
            "key": self.key,
            "fingerprint": self.fingerprint,
            "days": KEPT_DAYS,
        }
        with connection.cursor() as cursor:
            cursor.execute(_CLAIM, values)
            row = cursor.fetchone()
        return row[0] if row else None
