"""The service as it is served: gunicorn with two workers on loopback, and clients that all call at once."""

import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path
from typing import Any, NamedTuple
from urllib.request import urlopen

from tests.conftest import Urls

ROOT = Path(__file__).resolve().parents[1]
START_SECONDS = 60
ANSWER_SECONDS = 120
#: Twice as many as in production: whichever worker accepts them, the six or eight of a race are all under way at once.
THREADS = 8


class Call(NamedTuple):
    """One POST under ``/api/v1/``."""

    path: str
    body: Any
    key: str | None = None
    headers: tuple[tuple[str, str], ...] = ()


class Reply(NamedTuple):
    status: int
    body: Any


@dataclass(frozen=True)
class Service:
    port: int
    process: "subprocess.Popen[bytes]"

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def post(self, token: str, call: Call) -> Reply:
        headers = {"Authorization": f"Token {token}", "Content-Type": "application/json", **dict(call.headers)}
        if call.key is not None:
            headers["Idempotency-Key"] = call.key
        connection = HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_SECONDS)
        try:
            connection.request("POST", f"/api/v1/{call.path}", json.dumps(call.body), headers)
            response = connection.getresponse()
            return Reply(response.status, json.loads(response.read()))
        finally:
            connection.close()

    def at_once(self, token: str, calls: Sequence[Call]) -> list[Reply]:
        """All calls from threads of their own, started together; the replies in the order of the calls."""
        barrier = threading.Barrier(len(calls))
        replies: list[Reply | None] = [None] * len(calls)

        def client(row: int) -> None:
            barrier.wait()
            replies[row] = self.post(token, calls[row])

        threads = [threading.Thread(target=client, args=(row,)) for row in range(len(calls))]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert None not in replies, "a client got no answer"
        return [reply for reply in replies if reply is not None]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _wait(service: Service) -> None:
    until = time.monotonic() + START_SECONDS
    while time.monotonic() < until:
        if service.process.poll() is not None:
            raise RuntimeError(f"the service ended with {service.process.returncode} before it answered")
        try:
            with urlopen(f"{service.address}/healthz", timeout=5):
                return
        except OSError:  # not there yet, or too slow yet
            time.sleep(0.1)
    raise RuntimeError(f"the service did not answer within {START_SECONDS} seconds")


@contextmanager
def serving(
    urls: Urls, data_dir: Path, module: str = "shop.wsgi", port: int | None = None, **environ: str
) -> Iterator[Service]:
    """The service with two workers on this database, served as in production but for THREADS; ``module`` holds the
    WSGI application.
    """
    # It gets the socket itself: a port that was only free a moment ago may be another's by now.
    with socket.create_server(("127.0.0.1", port or 0)) as listening:
        command = [sys.executable, "-m", "gunicorn", "-c", "shop/gunicorn.py", module]
        process = subprocess.Popen(
            [
                *command,
                "-b",
                f"fd://{listening.fileno()}",
                "-w",
                "2",
                "--threads",
                str(THREADS),
                "--log-level",
                "error",
            ],
            cwd=ROOT,
            env={**os.environ, **urls.environ, "PLATES_DATA_DIR": str(data_dir), **environ},
            pass_fds=[listening.fileno()],
        )
        service = Service(listening.getsockname()[1], process)
    try:
        _wait(service)
        yield service
    finally:
        process.terminate()
        process.wait(30)
