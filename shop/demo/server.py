"""The embedded database while demos run: started when needed, ended by the last demo to leave.

Every demo on one data directory keeps a shared lock on ``PLATES_DATA_DIR/launcher/demos`` as long as it lives. The
file holds the mark of the server that a demo started. Whoever leaves and gets the lock for itself alone is the last
one, and ends the server when it bears that mark. So a demo never loses its database to another one that leaves, not
even to the one that started it; a server that was there before (``manage.py db start``) stays; and a demo that was
killed leaves nothing that the next one could mistake: the system drops its lock, the mark stays true.

Only demos count. Another program that uses the demo's server meanwhile loses its connection when the last demo leaves;
who wants the server to stay starts it first, with ``manage.py db start``.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.db import connections

from shop import database
from shop.database import cluster, places


@contextmanager
def demo_server(data_dir: Path) -> Iterator[database.Server]:
    """The running server of this data directory, for the time of a demo. Raises :class:`shop.database.ServerError`."""
    data_dir = places.prepare(data_dir)
    descriptor = os.open(places.locks_dir(data_dir) / "demos", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH)  # waits while a last one is just ending the server
        server = database.ensure(data_dir)  # when interrupted, it ends what it has begun
        try:
            if server.started_here:
                _write(descriptor, _mark(server.cluster))
            yield server
        finally:
            connections.close_all()
            if _alone(descriptor) and (server.started_here or _read(descriptor) == _mark(server.cluster)):
                database.stop(data_dir)
    finally:
        os.close(descriptor)


def _alone(descriptor: int) -> bool:
    """Turn the shared lock into a lock for us alone; False while another demo has its own."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _mark(cluster_dir: Path) -> bytes:
    """What tells one run of the server from every other: its process id with the time of its start."""
    lines = cluster.pid_file(cluster_dir)
    return f"{lines[0]} {lines[2]}".encode() if len(lines) > 2 else b"not running"


def _write(descriptor: int, mark: bytes) -> None:
    os.ftruncate(descriptor, 0)
    os.pwrite(descriptor, mark, 0)


def _read(descriptor: int) -> bytes:
    return os.pread(descriptor, 200, 0)
