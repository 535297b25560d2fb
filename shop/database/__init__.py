"""The database: which one is used, and the embedded PostgreSQL server with its own small launcher.

The embedded server serves one operating system user, the one who made its data directory: it listens on no
network, and its socket and its peer authentication let in nobody else. Several users, or several machines,
need a PostgreSQL server of their own, named by DATABASE_URL.
"""

from .account import ServerError
from .choice import before_command, data_dir, databases, uses_embedded
from .grants import grant, grant_after_migrate
from .launcher import Server, ensure, status, stop

__all__ = [
    "Server",
    "ServerError",
    "before_command",
    "data_dir",
    "databases",
    "ensure",
    "grant",
    "grant_after_migrate",
    "status",
    "stop",
    "uses_embedded",
]
