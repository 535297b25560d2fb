"""The demo's counter: a listening socket taken early, and gunicorn in this very process.

The demo process is gunicorn's master. So nothing has to be passed on: a signal to the demo ends the workers, and
should the demo be killed outright, the workers see that their master is gone and end by themselves.
"""

import os
import signal
import socket
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

from gunicorn.app.base import Application  # type: ignore[import-untyped]
from gunicorn.arbiter import Arbiter  # type: ignore[import-untyped]

CONFIG = Path(__file__).resolve().parents[1] / "gunicorn.py"


def listen(port: int) -> socket.socket:
    """Listen on this port of the loopback; 0 takes a free one. OSError when it is taken or not allowed.

    Early, so that a port in use is told before anything else happens, and nobody takes it in the meantime. Who connects
    before the counter serves waits for its answer.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        listener.listen(128)
    except BaseException:
        listener.close()
        raise
    return listener


class _Counter(Application):
    """gunicorn with the settings of production, on a socket that listens already."""

    def __init__(self, listener: socket.socket, ready: Callable[[], None]) -> None:
        self.listener, self.ready = listener.detach(), ready
        super().__init__()

    def load_config(self) -> None:
        self.load_config_from_file(str(CONFIG))
        self.cfg.set("bind", f"fd://{self.listener}")
        self.cfg.set("loglevel", "warning")
        self.cfg.set("graceful_timeout", 5)
        self.cfg.set("when_ready", lambda master: self.ready())

    def load(self) -> Any:
        from shop.wsgi import application  # which is made when it is imported

        return application


class _Master(Arbiter):
    """A terminal that closes ends the demo, unless it was started to outlive it (nohup)."""

    outlives = False

    def handle_hup(self) -> None:
        if not self.outlives:
            raise StopIteration


def serve(listener: socket.socket, ready: Callable[[], None]) -> NoReturn:
    """Serve until a signal ends it; leaves with SystemExit once no worker is left.

    ``ready`` is called when signals are listened to and the workers are about to start. They are forks of this process:
    its database connections are closed before.
    """
    master_pid = os.getpid()
    master = _Master(_Counter(listener, ready))
    master.outlives = signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    try:
        master.run()
    except SystemExit as end:
        if os.getpid() != master_pid:  # a worker has done its work: leaving the demo is its master's part alone
            sys.stdout.flush()
            os._exit(end.code if isinstance(end.code, int) else 0)
        raise
    raise SystemExit(0)
