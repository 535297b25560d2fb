"""Data directories for servers that are started and killed for real; a database without a table, one with the demo."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest

from shop import database
from shop.database import places
from tests import servers
from tests.conftest import Urls, drop, pointed_at
from tests.database import processes


@pytest.fixture
def ground() -> Iterator[Path]:
    """A temporary directory that any account may pass through; pytest's own are shut to the server's."""
    directory = Path(tempfile.mkdtemp(prefix="plates-"))
    directory.chmod(0o711)
    yield directory
    shutil.rmtree(directory)


@pytest.fixture
def data_dir(ground: Path) -> Iterator[Path]:
    """A data directory that is not there yet; its server is ended and its traces are removed."""
    directory = ground / "var"
    yield directory
    home = places.known(directory)
    if home is not None:  # killing is faster than an orderly end, and the data go anyway
        processes.wait_for(lambda: processes.kill_all(processes.attached(home.cluster)))
    servers.forget(directory)


@pytest.fixture(scope="session")
def whole_cluster() -> Iterator[Path]:
    """A data directory whose server was started once and stopped."""
    base = Path(tempfile.mkdtemp(prefix="plates-"))
    base.chmod(0o711)
    database.ensure(base / "var")
    database.stop(base / "var")
    yield base / "var"
    servers.forget(base / "var")
    shutil.rmtree(base)


@pytest.fixture
def used_dir(data_dir: Path, whole_cluster: Path) -> Path:
    """A data directory with a cluster in it, not running: saves the tests that need no cold start a second.

    Where the cluster had to stand elsewhere it cannot be copied along, and the start is cold after all.
    """
    if not (whole_cluster / "server").exists():
        subprocess.run(["cp", "-a", whole_cluster, data_dir], check=True)
    return data_dir


@pytest.fixture
def empty(server: Urls, django_db_blocker) -> Iterator[Urls]:
    """A database without a table, to which Django's connections lead."""
    name = f"empty_{os.getpid()}"
    with psycopg.connect(server.of("postgres").owner, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    with pointed_at(server.of(name)), django_db_blocker.unblock():
        yield server.of(name)
    drop(server, name)


@pytest.fixture
def demo(server: Urls, demo_clone: Callable[[str], Urls], django_db_blocker) -> Iterator[Urls]:
    """A demo shop of the test's own."""
    name = f"backed_up_{os.getpid()}"
    urls = demo_clone(name)
    with pointed_at(urls), django_db_blocker.unblock():
        yield urls
    drop(server, name)
