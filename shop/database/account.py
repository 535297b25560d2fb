"""The operating system account that the embedded server runs under."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import signal
import subprocess
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

SYSTEM_USER = "plates-db"


class ServerError(Exception):
    """The embedded server cannot be used; the text says why and what to do."""


@dataclass(frozen=True)
class Account:
    """One account of the system; `dropped` when it is not the one that runs this program."""

    name: str
    uid: int
    gid: int
    dropped: bool

    def run(
        self, *command: str | Path, text_in: str | None = None, keep_open: Sequence[int] = ()
    ) -> subprocess.CompletedProcess[str]:
        """Run a short command as this account, with neither our environment nor our directory.

        The environment stays out because PGDATA, PGPORT, PGOPTIONS and their like would bend the server's
        tools; the directory because the account may have no right to stand in it. The command has a session
        of its own, so that Ctrl-C reaches us alone; when we are interrupted, all of it ends before we go on.
        """
        identity: dict[str, Any] = {}
        if self.dropped:
            identity = {"user": self.uid, "group": self.gid, "extra_groups": []}
        with subprocess.Popen(  # noqa: S603
            [str(part) for part in command],
            cwd="/",
            env={"PATH": os.environ.get("PATH", os.defpath), "LC_ALL": "C", "TZ": "UTC"},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            errors="replace",
            pass_fds=keep_open,
            start_new_session=True,
            **identity,
        ) as process:
            try:
                output, errors = process.communicate(text_in)
            except BaseException:
                with contextlib.suppress(ProcessLookupError):  # it may have ended by itself meanwhile
                    os.killpg(process.pid, signal.SIGKILL)
                process.communicate()  # until the last of its children has let go of our pipes
                raise
        return subprocess.CompletedProcess(process.args, process.returncode, output, errors)

    def must(self, *command: str | Path, text_in: str | None = None) -> str:
        """Run a command that has to succeed and return its output; ServerError with its words if not."""
        try:
            done = self.run(*command, text_in=text_in)
        except OSError as error:
            raise ServerError(f"{command[0]} cannot run as {self.name}: {error.strerror}") from error
        if done.returncode:
            raise ServerError(f"{Path(command[0]).name} failed: {(done.stderr or done.stdout).strip()}")
        return done.stdout

    def can(self, *command: str | Path) -> bool:
        """Whether a command succeeds as this account; one that may not even be started does not."""
        try:
            return self.run(*command).returncode == 0
        except OSError:
            return False

    def enters(self, directory: Path) -> bool:
        """Whether this account may pass through the directory."""
        return self.can("test", "-x", directory)


def own_name() -> str:
    """The name of the user who runs this program; ServerError when the system knows none."""
    try:
        return pwd.getpwuid(os.geteuid()).pw_name
    except KeyError:
        raise ServerError(
            f"User id {os.geteuid()} has no name on this system, and the embedded database needs one. "
            "Add it to the list of users (/etc/passwd), or set DATABASE_URL to a PostgreSQL server."
        ) from None


def server_account() -> Account:
    """The account for the server: our own user, or for root a system user that is made when missing.

    PostgreSQL refuses to run as root.
    """
    if os.geteuid() != 0:
        return Account(own_name(), os.geteuid(), os.getegid(), dropped=False)
    entry = _entry(SYSTEM_USER) or _make_user(SYSTEM_USER)
    return Account(entry.pw_name, entry.pw_uid, entry.pw_gid, dropped=True)


def _entry(name: str) -> pwd.struct_passwd | None:
    try:
        return pwd.getpwnam(name)
    except KeyError:
        return None


def _make_user(name: str) -> pwd.struct_passwd:
    """Make the system user; another launcher may be doing the same, so look again before complaining."""
    home, shell = "/nonexistent", "/usr/sbin/nologin"
    if shutil.which("useradd"):
        command = ["useradd", "--system", "--user-group", "--no-create-home", "-d", home, "-s", shell, name]
    elif shutil.which("adduser"):
        command = ["adduser", "-S", "-D", "-H", "-h", home, "-s", shell, name]
    else:
        raise ServerError(
            f"PostgreSQL does not run as root, and no useradd or adduser is here to make the user {name}: "
            "make it by hand, run this program as an ordinary user, or set DATABASE_URL."
        )
    words = ""
    for _ in range(50):
        made = subprocess.run(command, capture_output=True, text=True, check=False)  # noqa: S603
        entry = _entry(name)
        if entry:
            return entry
        words = made.stderr.strip()
        time.sleep(0.1)
    raise ServerError(f"The system user {name} could not be made: {words}")
