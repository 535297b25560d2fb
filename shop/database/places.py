"""Where one embedded server lives: its data, its socket, its locks.

    PLATES_DATA_DIR/launcher   our locks (0700)
    PLATES_DATA_DIR/pg         the cluster, owned by the server's account
    PLATES_DATA_DIR/run        the socket (0700), owned by the server's account
    PLATES_DATA_DIR/server     only for root, when the server's account cannot reach the data directory or
                               the wheel: names the directory under /var/lib/plates that holds pg and run;
                               PLATES_DATA_DIR/run then points there

So a client finds the socket from PLATES_DATA_DIR alone, before and after the first start.
"""

from __future__ import annotations

import hashlib
import os
import pwd
import secrets
import stat
import tempfile
from dataclasses import dataclass
from pathlib import Path

from . import files
from .account import Account, ServerError, server_account

SHELTER = Path("/var/lib/plates")
SOCKET_NAME = ".s.PGSQL.5432"
SOCKET_LIMIT = 100  # bytes; the system's own limit for a socket's path is 104 to 108


@dataclass(frozen=True)
class Home:
    """The settled places of one server; `place` holds pg and run."""

    data_dir: Path
    place: Path
    account: Account

    @property
    def cluster(self) -> Path:
        return self.place / "pg"

    @property
    def socket_dir(self) -> Path:
        """Where clients look for the socket."""
        return socket_dir(self.data_dir)

    @property
    def server_socket_dir(self) -> Path:
        """Where the server puts it: the same directory, unless the client's path leads there by a link."""
        return self.place / "run" if self.socket_dir == self.data_dir / "run" else self.socket_dir


def socket_dir(data_dir: Path) -> Path:
    """The directory of the socket, from the data directory's path alone; it need not exist yet.

    A path that is too long for a socket, or holds a comma (to a client, a list of hosts), moves to the
    temporary directory under a name of its own.
    """
    data_dir = data_dir.resolve()
    plain = data_dir / "run"
    if _fits(plain):
        return plain
    mark = hashlib.sha256(os.fsencode(data_dir)).hexdigest()[:16]
    moved = [Path(base) / f"plates-{os.geteuid()}-{mark}" for base in (tempfile.gettempdir(), "/tmp")]  # noqa: S108
    return next((directory for directory in moved if _fits(directory)), moved[-1])


def _fits(directory: Path) -> bool:
    return len(os.fsencode(directory / SOCKET_NAME)) <= SOCKET_LIMIT and "," not in str(directory)


def locks_dir(data_dir: Path) -> Path:
    return data_dir / "launcher"


def prepare(data_dir: Path) -> Path:
    """Make the data directory and the directory of its locks; return the data directory's real path."""
    data_dir = data_dir.resolve()
    if set(str(data_dir)) & set('"$`\\\n'):  # the server's tools hand paths to a shell between double quotes
        raise ServerError(
            f"The path {data_dir} holds a character that the server's tools cannot take (one of \" $ ` \\). "
            "Set PLATES_DATA_DIR to another directory."
        )
    locks = locks_dir(data_dir)
    try:
        data_dir.parent.mkdir(parents=True, exist_ok=True)
        # Root's server runs under another account, which has to pass through; others keep it shut.
        files.make_directory(data_dir, 0o711 if os.geteuid() == 0 else 0o700)
        files.make_directory(locks, 0o700)
    except OSError as error:
        raise ServerError(f"The data directory {data_dir} cannot be used: {error.strerror}.") from error
    _refuse_stranger(data_dir)
    return data_dir


def _refuse_stranger(data_dir: Path) -> None:
    """Only the user who made the data directory's locks is served: ServerError for any other."""
    owner = locks_dir(data_dir).stat().st_uid
    if owner != os.geteuid():
        raise ServerError(
            f"The database in {data_dir} belongs to {_user(owner)}, and only that user is served. "
            "Run this as that user, set PLATES_DATA_DIR to a directory of your own, or set DATABASE_URL."
        )


def known(data_dir: Path) -> Home | None:
    """The places of a server that was settled before, or None. Makes nothing."""
    data_dir = data_dir.resolve()
    try:
        if not locks_dir(data_dir).is_dir():
            return None
        _refuse_stranger(data_dir)
        place = _sheltered(data_dir) or data_dir
        return Home(data_dir, place, server_account()) if (place / "pg").is_dir() else None
    except OSError as error:
        raise ServerError(f"The data directory {data_dir} cannot be used: {error.strerror}.") from error


def settle(data_dir: Path) -> Home:
    """Decide once where the server lives, and make its directories. Called with the lock held."""
    account = server_account()
    place = _sheltered(data_dir) or data_dir
    if account.dropped and place == data_dir and not _holds_something(data_dir / "pg"):
        reached = account.enters(data_dir) and files.usable(files.carried(), account)
        place = data_dir if reached else _new_shelter(data_dir)
    if place != data_dir:
        _claim(data_dir, place)
    home = Home(data_dir, place, account)
    link = data_dir / "run"
    if link.is_symlink():  # of our making, perhaps to a place that was given up
        link.unlink()
    if home.server_socket_dir not in (link, home.socket_dir):
        _link(link, home.server_socket_dir)
    _make_for(account, home.server_socket_dir)
    if not account.enters(home.server_socket_dir):
        raise ServerError(
            f"{account.name}, under whom the server runs, cannot reach {home.server_socket_dir}. "
            "Let it pass (chmod o+x), or set PLATES_DATA_DIR to another directory."
        )
    return home


def _link(link: Path, target: Path) -> None:
    try:
        link.symlink_to(target)
    except FileExistsError:
        raise ServerError(f"{link} is in the way of a link to {target}. Move it away.") from None


def _sheltered(data_dir: Path) -> Path | None:
    named = data_dir / "server"
    return Path(named.read_text().strip()) if named.is_file() else None


def _new_shelter(data_dir: Path) -> Path:
    """Reserve a directory under the shelter. Its name is drawn, so that a data directory which was deleted
    and made again under the same path does not come back with the old data."""
    place = SHELTER / secrets.token_hex(6)
    files.make_directory(SHELTER, 0o711)
    files.make_directory(place, 0o711)
    (place / "for").write_text(f"{data_dir}\n")
    (data_dir / "server").write_text(f"{place}\n")
    return place


def _claim(data_dir: Path, place: Path) -> None:
    """Refuse a copied data directory: two of them must not share one place. A moved one takes it along."""
    claim = place / "for"
    if not claim.is_file():
        raise ServerError(
            f"{data_dir / 'server'} names {place}, which is not there: bring it back, or, if its data may be "
            f"lost, delete {data_dir / 'server'}."
        )
    other = Path(claim.read_text().strip())
    if other == data_dir:
        return
    if other.exists() and _sheltered(other) == place:
        raise ServerError(
            f"The data of {data_dir} stand in {place}, which serves {other}: a copied data directory. "
            f"To start empty here delete {data_dir / 'server'}; bring data over by backup and restore."
        )
    claim.write_text(f"{data_dir}\n")


def _holds_something(directory: Path) -> bool:
    return directory.is_dir() and any(directory.iterdir())


def _make_for(account: Account, directory: Path) -> None:
    """A 0700 directory of the account; ServerError when the path is taken by somebody else's."""
    try:
        directory.mkdir(mode=0o700)
        if account.dropped:
            os.chown(directory, account.uid, account.gid)
    except FileExistsError:
        found = directory.lstat()
        private = stat.S_ISDIR(found.st_mode) and stat.S_IMODE(found.st_mode) == 0o700
        if not private or found.st_uid != account.uid:
            raise ServerError(
                f"{directory} must be a directory of {account.name} with mode 0700 and is not; it was left "
                "as it is. Move it away, or set PLATES_DATA_DIR to another directory."
            ) from None


def _user(uid: int) -> str:
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"user id {uid}"
