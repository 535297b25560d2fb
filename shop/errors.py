"""Every refusal is a class with a stable code, a reason and a way out."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import psycopg
from django.db import DatabaseError

_log = logging.getLogger("shop.database")


class Refusal(Exception):
    """Something is not done, and nothing has changed. ``str(refusal)`` says why and what to do.

    ``errors``: (JSON pointer, detail) of each bad field; ``more``: further members of the answer.
    """

    status = 422
    code = "refused"
    title = "Not done"

    def __init__(self, detail: str, errors: list[tuple[str, str]] | None = None, **more: Any) -> None:
        super().__init__(detail)
        self.detail = detail
        self.errors = errors or []
        self.more = more


class Malformed(Refusal):
    status, code, title = 400, "malformed", "The request cannot be read"


class Forbidden(Refusal):
    status, code, title = 403, "wrong_role", "Not for this role"


class NotFound(Refusal):
    status, code, title = 404, "not_found", "There is no such thing"


class CodeTaken(Refusal):
    status, code, title = 409, "code_taken", "The code is in use"


class WrongState(Refusal):
    status, code, title = 409, "wrong_state", "Not in this state"


class Busy(Refusal):
    status, code, title = 409, "busy", "Somebody else is at it"


class Unavailable(Refusal):
    status, code, title = 503, "unavailable", "The database does not answer"


class KeyReused(Refusal):
    status, code, title = 422, "key_reused", "The key belongs to another request"


_constraints: dict[str, tuple[type[Refusal], str]] = {}


def constraint(name: str, refusal: type[Refusal], detail: str) -> str:
    """Give a named database constraint its clear error. Returns the name, so that it stands beside the constraint."""
    _constraints[name] = refusal, detail
    return name


def refusal_of(name: str) -> Refusal:
    """What this constraint refuses with, for whoever looks before the database does."""
    refusal, detail = _constraints[name]
    return refusal(detail)


BUSY = {
    psycopg.errors.LockNotAvailable.sqlstate,
    psycopg.errors.DeadlockDetected.sqlstate,
    psycopg.errors.SerializationFailure.sqlstate,
}
_AWAY = "The database does not answer just now. "
_NO_ROOM = (
    "The database has no room just now: its disk, its memory or its connections are used up. Tell whoever looks after "
    "it. Nothing was changed. "
)
#: Classes of SQLSTATE after which the same request may be sent again: connection exception, operator intervention,
#: insufficient resources.
GONE = {"08": _AWAY, "57": _AWAY, "53": _NO_ROOM}


def away_logged(error: Exception) -> None:
    """Why an answer is 503. PostgreSQL's further lines may quote what was asked."""
    state = getattr(error, "sqlstate", None) or "none"
    _log.warning("The database does not answer (SQLSTATE %s): %s", state, str(error).partition("\n")[0][:300])


@contextmanager
def refusals() -> Iterator[None]:
    """Turn what the database refuses into its clear error, by the name of the constraint."""
    try:
        yield
    except DatabaseError as error:
        cause = error.__cause__
        if not isinstance(cause, psycopg.Error):
            raise
        gone = GONE.get((cause.sqlstate or "08")[:2]) if isinstance(cause, psycopg.OperationalError) else None
        if gone:
            away_logged(cause)
            raise Unavailable(
                f"{gone}Send the same request again in a moment; with the same Idempotency-Key it is never done twice."
            ) from error
        if cause.sqlstate in BUSY:
            raise Busy("Another bench is changing the same plates. Nothing was changed; try again.") from error
        if (name := cause.diag.constraint_name or "") not in _constraints:
            raise
        raise refusal_of(name) from error
