"""No room left on the disk: nothing acknowledged is lost, and what was refused is done once there is room again."""

import os
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest
from pytest_django.plugin import DjangoDbBlocker

from shop import database
from shop.people.models import Token
from tests.database.processes import wait_for
from tests.faults.clients import Clients, Tally, table_of
from tests.faults.victims import migrated, own_server, urls_of
from tests.faults.world import shop_new
from tests.service import serving

pytestmark = pytest.mark.processes

MEGABYTES = 256
#: So many acts are to fail, and as many to be done before and after.
MANY = 20


@contextmanager
def small_disk(server: database.Server) -> Iterator[Path]:
    """The server's cluster on a file system of its own, which is small. Skips where none may be mounted."""
    if os.geteuid() != 0:
        pytest.skip("only root may mount a small file system to fill")
    where, aside = server.cluster, server.cluster.with_name("aside")
    database.stop(server.data_dir)
    where.rename(aside)
    where.mkdir(mode=0o700)
    owner = aside.stat()
    options = f"size={MEGABYTES}m,mode=0700,uid={owner.st_uid},gid={owner.st_gid}"
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", options, "none", where], capture_output=True, text=True)
    try:
        if mounted.returncode:
            pytest.skip(f"no small file system to fill: {mounted.stderr.strip()}")
        subprocess.run(["cp", "-a", f"{aside}/.", where], check=True)
        database.ensure(server.data_dir)
        yield where
    finally:
        database.stop(server.data_dir)
        if not mounted.returncode:
            subprocess.run(["umount", where], check=True)
        where.rmdir()
        shutil.rmtree(aside)


def fill(disk: Path) -> Path:
    """Take all the room that is left."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file:
        for size in (1 << 20, 1 << 12):
            try:
                while file.write(b"\0" * size):
                    pass
            except OSError:
                continue
    return filler


def test_full_while_clients_write(django_db_blocker: DjangoDbBlocker, tmp_path: Path) -> None:
    with own_server() as server, small_disk(server) as disk, django_db_blocker.unblock(), migrated(server):
        owner = shop_new()
        token = Token.make(owner)
        with serving(urls_of(server), tmp_path / "data") as service, ThreadPoolExecutor(1) as beside:
            clients = Clients(owner, token, service, seed=1)
            over = threading.Event()
            running = beside.submit(clients.run, 3, over.is_set, 90)
            try:
                _until_more(clients, lambda tally: len(tally.answers))
                filler = fill(disk)
                _until_more(clients, lambda tally: tally.failed)  # for want of room
                filler.unlink()
                database.ensure(server.data_dir)
                _until_more(clients, lambda tally: len(tally.answers))
            finally:
                over.set()
            tally = running.result()
        table = table_of(tally, owner.shop_id)
    assert table.whole, f"\n{table}"


def _until_more(clients: Clients, counted: Callable[[Tally], int]) -> None:
    before = counted(clients.tally)
    wait_for(lambda: counted(clients.tally) >= before + MANY)
