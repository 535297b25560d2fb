"""Where requests stand together in a service whose locks are out: everybody has looked there, and nobody has written.

They go on when the test opens the gate, see :mod:`tests.races.unlocked`; while it is open, they do not wait.
"""

from django.db import connection

GATE = 1
STAND = f"pg_advisory_xact_lock_shared({GATE})"


def stand() -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {STAND}")
