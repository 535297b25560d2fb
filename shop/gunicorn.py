"""How gunicorn serves: for ``manage.py demo`` and for production alike (``gunicorn -c shop/gunicorn.py shop.wsgi``).

``WEB_CONCURRENCY`` sets the number of workers. Behind a proxy, bind to where the proxy looks with ``--bind``.
"""

import os
from pathlib import Path

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
