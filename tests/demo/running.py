"""Demos as real processes, and who of them is left."""

import os
import re
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Mapping
from http.client import HTTPResponse
from pathlib import Path
from typing import Any

from shop.database import places
from tests.database.processes import ROOT, attached

#: What would lead a demo of the tests elsewhere.
OTHERS = ("DATABASE_URL", "DATABASE_OWNER_URL", "PLATES_ENV", "PLATES_DATA_DIR", "PLATES_DEMO_PASSWORD")
PATIENCE = 300


def manage(data_dir: Path, *words: str, **environ: str) -> "subprocess.Popen[str]":
    """``manage.py`` in a process group of its own, as a terminal gives it one."""
    clean = {name: value for name, value in os.environ.items() if name not in OTHERS}
    return subprocess.Popen(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env={**clean, "PLATES_DATA_DIR": str(data_dir), **environ},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=_hung_up,
    )


def _hung_up() -> None:
    """A terminal's demo ends when it hangs up, also where these tests were started to outlive theirs (nohup)."""
    signal.signal(signal.SIGHUP, signal.SIG_DFL)


def told(process: "subprocess.Popen[str]") -> tuple[int, str, str]:
    """How it ended: code, what it said, what it complained of."""
    said, complained = process.communicate(timeout=PATIENCE)
    return process.returncode, said, complained


class Demo:
    """A demo that serves."""

    def __init__(self, data_dir: Path, port: int = 0, **environ: str) -> None:
        self.process = manage(data_dir, "demo", "--port", str(port), **environ)

    def line_with(self, what: str) -> str:
        """The next line that it says with this in it."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if what in line:
                return line
        raise AssertionError(f"it ended without {what!r}: {told(self.process)}")

    def opened(self) -> "Demo":
        self.url = re.sub(r".*(http://[0-9.:]+/).*\n", r"\1", self.line_with("open at"))
        return self

    def call(self, path: str, body: bytes | None = None, **headers: str) -> HTTPResponse:
        request = urllib.request.Request(self.url + path, data=body, headers=headers)
        return urllib.request.urlopen(request, timeout=30)  # type: ignore[no-any-return]

    def end(self, signal_number: int, group: bool = False) -> tuple[int, str, str]:
        if group:
            os.killpg(self.process.pid, signal_number)
        else:
            self.process.send_signal(signal_number)
        return told(self.process)


def environment_of(entry: Path) -> Mapping[str, str]:
    """The environment of a living process; empty for one that ended meanwhile or is a stranger's."""
    try:
        pairs = (entry / "environ").read_bytes().decode(errors="replace").split("\0")
    except OSError:
        return {}
    return dict(pair.split("=", 1) for pair in pairs if "=" in pair)


def demos(data_dir: Path) -> list[int]:
    """The living processes of demos on this data directory, gunicorn's workers among them."""
    return [
        int(entry.name)
        for entry in Path("/proc").glob("[0-9]*")
        if environment_of(entry).get("PLATES_DATA_DIR") == str(data_dir)
    ]


def server_processes(data_dir: Path) -> list[int]:
    home: Any = places.known(data_dir)
    return attached(home.cluster) if home else []
