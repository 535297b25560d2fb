"""How gunicorn serves: for ``manage.py demo`` and for production alike (``gunicorn -c shop/gunicorn.py shop.wsgi``).

``WEB_CONCURRENCY`` sets the number of workers. Behind a proxy, bind to where the proxy looks with ``--bind``.
"""

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

wsgi_app = "shop.wsgi"
workers = int(os.environ.get("WEB_CONCURRENCY") or 2)
worker_class = "gthread"
threads = 4
preload_app = False  # each worker opens its own connections to the database, and a reload reads the code anew
timeout = 60
graceful_timeout = 20  # a take is a matter of milliseconds; this is for a slow line
keepalive = 5
accesslog = None  # the proxy keeps one; --access-logfile - shows it
errorlog = "-"
control_socket_disable = True  # newer versions would open one in the home directory
# Workers show that they are alive by touching a file: in memory, where a full or slow disk cannot fake a death.
worker_tmp_dir = "/dev/shm" if os.access("/dev/shm", os.W_OK) and Path("/dev/shm").is_dir() else None  # noqa: S108


# /metrics adds up what all workers have counted; each writes it into a file of its own here. The name holds the process
# id of the master, so that this file, read again at a reload, knows its own directory, and one that takes over from
# another master makes a new one. A directory that somebody else has set is theirs.
_PREFIX = "plates-metrics-"
_given = Path(os.environ.get("PROMETHEUS_MULTIPROC_DIR", ""))
_own = _given.name.startswith(f"{_PREFIX}{os.getpid()}-")
if not _own and (not _given.name or _given.name.startswith(_PREFIX)):
    _given, _own = Path(tempfile.mkdtemp(prefix=f"{_PREFIX}{os.getpid()}-")), True
    os.environ["PROMETHEUS_MULTIPROC_DIR"] = str(_given)


def on_exit(server: Any) -> None:
    if _own:
        shutil.rmtree(_given, ignore_errors=True)
